"""One set-point: what to set for one line, how sure that is, and what it costs in light."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.wrapped import hung
from aotf_lab.reading.atomic import write_text_atomically

__all__ = ["SetPoint", "SetPoints", "shown"]


@dataclass(frozen=True)
class SetPoint:
    """What to set for one line; None where it cannot be given, with the reason in ``remark``.

    ``origin`` says where the frequency comes from. ``drive_v`` is as the voltmeter of the
    oscillator's readings shows; ``drive_other_meter_v`` is the same for any other meter and so
    carries that voltmeter's own error. ``rf_power_w`` is the true power when the bench's scope shows
    its nominal value, ``supply_v`` the amplifier's supply that makes it, never above the safe one.
    ``u_setting_mhz`` is the standard uncertainty of the frequency that the drive voltage makes, minus
    the frequency wanted; ``share_of_fwhm`` and ``light_lost_percent`` state the same (the loss at
    the 95 % limit of that error). ``doubtful`` is true when something grave stands against the line,
    which ``remark`` names.
    """

    line: str
    wavelength_nm: UFloat | float | None
    frequency_mhz: UFloat | None
    origin: str
    drive_v: UFloat | None
    drive_other_meter_v: UFloat | None
    rf_power_w: UFloat | None
    efficiency: UFloat | None
    u_setting_mhz: float | None
    share_of_fwhm: float | None
    light_lost_percent: float | None
    largest_cause: str
    budget: dict[str, float]
    reachable: bool
    remark: str
    doubtful: bool = False
    supply_v: UFloat | None = None


_PAIRS = ("wavelength_nm", "frequency_mhz", "drive_v", "drive_other_meter_v", "rf_power_w", "supply_v", "efficiency")
_HEADS = {
    "wavelength_nm": "vacuum wavelength (nm)", "frequency_mhz": "frequency (MHz)", "drive_v": "drive (V)",
    "rf_power_w": "RF power (W)", "supply_v": "supply (V)", "efficiency": "efficiency",
}  # fmt: skip
_PLAIN = ("u_setting_mhz", "share_of_fwhm", "light_lost_percent", "largest_cause", "reachable", "remark")


@dataclass(frozen=True)
class SetPoints:
    """The set-points of several lines; ``table`` is a pandas table with u in columns of their own."""

    points: tuple[SetPoint, ...]

    def __iter__(self) -> Iterator[SetPoint]:
        return iter(self.points)

    def __len__(self) -> int:
        return len(self.points)

    def __getitem__(self, line: str) -> SetPoint:
        for point in self.points:
            if point.line == line:
                return point
        known = ", ".join(p.line for p in self.points)
        raise AotfLabError("no set-point of this name", found=line, allowed=known, cure="use a listed name")

    @property
    def table(self) -> pd.DataFrame:
        """One row a line, in bench units; not a number where a value cannot be given."""
        rows = []
        for point in self.points:
            row: dict[str, object] = {"line": point.line, "origin": point.origin}
            for name in _PAIRS:
                value = getattr(point, name)
                row[name] = float("nan") if value is None else nominal_value(value)
                row[f"u_{name}"] = float("nan") if value is None else std_dev(value)
            row |= {name: getattr(point, name) for name in _PLAIN}
            rows.append(row)
        table = pd.DataFrame(rows)
        number = ["u_setting_mhz", "share_of_fwhm", "light_lost_percent"]
        return table.astype(dict.fromkeys(number, float)) if rows else table

    def to_csv(self, path: str | Path) -> Path:
        """Write the table as CSV, atomically, and return the path."""
        target = Path(path)
        write_text_atomically(target, self.table.to_csv(index=False))
        return target

    def to_json(self, path: str | Path) -> Path:
        """Write the table as JSON records, atomically, and return the path."""
        target = Path(path)
        write_text_atomically(target, self.table.to_json(orient="records", indent=2) + "\n")
        return target

    def __str__(self) -> str:
        return "\n".join(_line(p) for p in self.points)

    def _repr_html_(self) -> str:
        return str(pd.DataFrame([_cells(p) for p in self.points]).to_html(index=False))


def shown(value: UFloat | float) -> str:
    """Return value(uncertainty) with two digits of the uncertainty, or the plain number when it is exact."""
    return f"{value:.2uS}" if isinstance(value, UFloat) and value.s > 0 else f"{nominal_value(value):.6g}"


def _cells(point: SetPoint) -> dict[str, str]:
    values = {head: getattr(point, name) for name, head in _HEADS.items()}
    lost = point.light_lost_percent
    return {
        "line": point.line,
        **{head: "-" if value is None else shown(value) for head, value in values.items()},
        "light lost up to (%)": "-" if lost is None else f"{lost:.2g}",
        "remark": point.remark,
    }


_HARD = "\u00a0"
"""A blank at which no line ends."""


def _line(point: SetPoint) -> str:
    parts = []
    for value, unit in (
        (point.wavelength_nm, "nm"),
        (point.frequency_mhz, "MHz"),
        (point.drive_v, "V"),
        (point.rf_power_w, "W"),
        (point.supply_v, "V supply"),
    ):
        parts.append(f"no {unit}" if value is None else f"{shown(value)} {unit}")
    if point.light_lost_percent is not None:
        parts.append(f"light lost up to {point.light_lost_percent:.2g} %")
    if point.remark:
        parts.append(point.remark)
    head = f"{point.line}  "
    # a value stays with its unit: a break falls between two of them
    kept = "  ".join(part if part == point.remark else part.replace(" ", _HARD) for part in parts)
    return hung(kept, head, len(head)).replace(_HARD, " ")
