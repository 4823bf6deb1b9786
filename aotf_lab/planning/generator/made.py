"""What typed values make: the frequency of each level, how far off by rounding, how surely, and the light lost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.driver import Vco
from aotf_lab.estimation import variance_shares
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.generator.output import GENERATOR_CAUSES, Output
from aotf_lab.planning.generator.reach import Reach
from aotf_lab.planning.generator.typed import Typed
from aotf_lab.planning.generator.wanted import Wanted

__all__ = ["Made", "least_sure", "made_of", "percent"]


@dataclass(frozen=True)
class Made:
    """What one level becomes with one kind of display.

    ``port_v`` and ``frequency_mhz`` are what is made, ``error_mhz`` the frequency made minus the one wanted: its
    nominal value is what rounding (or the reach) costs, its u everything that is not known. ``u_calibrated_mhz`` is
    what of that u is left once the level is set by the voltmeter of the readings at the port; ``slope_mhz_per_v`` is
    df/dV.
    """

    wanted: Wanted
    display: str
    reachable: bool
    port_v: UFloat
    frequency_mhz: UFloat
    error_mhz: UFloat
    u_calibrated_mhz: float
    slope_mhz_per_v: float

    @property
    def generator_share(self) -> float:
        """The share (0 to 1) of the variance of the error that generator and resistances make."""
        shares = variance_shares(self.error_mhz)
        return sum(shares.get(cause, 0.0) for cause in GENERATOR_CAUSES)

    @property
    def u_share_of_fwhm(self) -> float | None:
        """The u of the error over the passband's FWHM; None where no light is wanted."""
        return None if self.wanted.fwhm_mhz is None else float(self.error_mhz.s / self.wanted.fwhm_mhz)

    @property
    def error_limit_mhz(self) -> float:
        """How far off the frequency may be, at the far end of the 95 % interval of the error."""
        return abs(float(self.error_mhz.n)) + self.wanted.coverage * float(self.error_mhz.s)

    @property
    def limit_share_of_fwhm(self) -> float | None:
        """That over the passband's FWHM; None where no light is wanted."""
        return None if self.wanted.fwhm_mhz is None else self.error_limit_mhz / self.wanted.fwhm_mhz

    @property
    def rounding_lost_percent(self) -> float | None:
        """The light lost to rounding (or to the reach) alone, by an exact generator."""
        return self._lost(abs(self.error_mhz.n))

    @property
    def light_lost_percent(self) -> float | None:
        """The light lost at the far end of the 95 % interval of the error."""
        return self._lost(self.error_limit_mhz)

    @property
    def calibrated_lost_percent(self) -> float | None:
        """The same once the level is set by the voltmeter at the port."""
        return self._lost(self.wanted.coverage * self.u_calibrated_mhz)

    def _lost(self, error_mhz: float) -> float | None:
        return None if self.wanted.fwhm_mhz is None else light_lost_percent(error_mhz, self.wanted.fwhm_mhz)


def least_sure(made: Sequence[Made]) -> Made:
    """Return the level within reach that the generator's own error may move furthest, in passbands.

    Where all are out of reach, or the generator makes the larger part of no level's variance, all levels count.
    """
    reached = [m for m in made if m.reachable] or made
    moved = [m for m in reached if m.generator_share > 0.5]
    if not moved:
        return max(made, key=lambda m: m.generator_share)
    return max(moved, key=lambda m: (m.limit_share_of_fwhm or 0.0, m.error_limit_mhz))


def percent(value: float) -> str:
    """Return a share of light in words: two digits, "100" and "below 0.01" written out.

    >>> percent(0.0012), percent(3.14159), percent(99.99)
    ('below 0.01 %', '3.1 %', '100 %')
    """
    return "below 0.01 %" if value < 0.01 else f"{value:.2g} %" if value < 99.5 else "100 %"


def made_of(wanted: Sequence[Wanted], typed: Typed, output: Output, reach: Reach, vco: Vco) -> tuple[Made, ...]:
    """Return what each level becomes with these typed values."""
    found = []
    finest = min((s for s in typed.steps_v if s is not None), default=0.0) / typed.factor * output.share_n
    for level, open_v in zip(wanted, typed.levels_v, strict=True):
        port = output.made_v(open_v, typed.offset_open_v)
        frequency = vco.frequency_at_true(_inside(port, vco))
        slope = float(nominal_value(vco.sensitivity(level.drive_v.n)))
        left = math.hypot(level.u_setting_mhz, slope * vco.u_setting_v, slope * finest / math.sqrt(12.0))
        held, error = reach.holds(level.port_v.n), frequency - level.frequency_mhz
        found.append(Made(level, typed.display, held, port, frequency, error, left, slope))
    return tuple(found)


def _inside(port_v: UFloat, vco: Vco) -> UFloat:
    """Return ``port_v``, moved by the breadth of a rounding back onto the end of the curve where it lies beyond."""
    low, high = vco.range_v
    return port_v + (min(max(port_v.n, low), high) - port_v.n)
