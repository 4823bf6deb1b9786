"""One number or check of a session under a name that stays from run to run, and the unit that a name states."""

from __future__ import annotations

from dataclasses import dataclass

from uncertainties import UFloat, ufloat

from aotf_lab.planning.set_point import shown

__all__ = ["ResultCheck", "ResultRow", "unit_of"]

_UNITS = {
    "hz": "Hz", "khz": "kHz", "mhz": "MHz", "v": "V", "vpp": "Vpp", "vrms": "Vrms", "a": "A", "ohm": "ohm",
    "w": "W", "mw": "mW", "db": "dB", "dbc": "dBc", "dbm": "dBm", "nm": "nm", "mm": "mm", "us": "µs", "s": "s",
    "min": "min", "h": "h", "c": "°C", "k": "K", "deg": "°", "rad": "rad", "mrad": "mrad", "percent": "%",
}  # fmt: skip


@dataclass(frozen=True)
class ResultRow:
    """One number: ``key`` says of which part and what, ``line`` of which line or at which place ("" for the only one).

    ``u`` is the standard uncertainty (k = 1), None for a number that has none of its own. ``unit`` is that of both.
    A line "#3" is the third of several that have no name, such as the peaks of a wide sweep.
    """

    key: str
    line: str
    value: float
    u: float | None
    unit: str

    @property
    def title(self) -> str:
        """The name of the number, in which no two rows of a session are alike."""
        return f"{self.key} [{self.line}]" if self.line else self.key

    @property
    def of_doubt(self) -> bool:
        """Whether the number is itself an uncertainty, a loss that follows from one, or a chi-square."""
        name = self.key.rpartition(".")[2]
        return name.startswith("u_") or name.endswith("_percent") or name == "chi2"

    @property
    def named(self) -> bool:
        """Whether the name means the same in another session: it counts no position."""
        return "#" not in self.line

    def __str__(self) -> str:
        value: UFloat | float = ufloat(self.value, self.u) if self.u else self.value
        return f"{self.title} = {shown(value)} {self.unit}".rstrip()


@dataclass(frozen=True)
class ResultCheck:
    """One check: ``of`` says of which part and line, ``name`` what was asked, ``detail`` what was found.

    ``of_limit`` is the share of its limit that is used up, None where no one number decides.
    """

    of: str
    name: str
    passed: bool
    detail: str
    of_limit: float | None

    @property
    def title(self) -> str:
        """What was asked of what."""
        return f"{self.of}: {self.name}"


def unit_of(name: str) -> str:
    """Return the unit in which ``name`` ends, "" where it ends in none.

    >>> unit_of("centre_mhz"), unit_of("mhz_per_v"), unit_of("slope_per_w"), unit_of("velocity_m_s"), unit_of("skew")
    ('MHz', 'MHz/V', '1/W', 'm/s', '')
    """
    if name.endswith("_m_s"):
        return "m/s"
    above, per, below = name.rpartition("_per_")
    if per and below in _UNITS:
        return f"{_UNITS.get(above.rpartition('_')[2], '1')}/{_UNITS[below]}"
    return _UNITS.get(name.rpartition("_")[2], "")
