"""Set-points from two kept calibrations: the oscillator's and the crystal's meet here, and nowhere before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import pandas as pd
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.errors import AotfLabError, OutOfRangeError
from aotf_lab.estimation import largest_cause, variance_shares
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.set_point import shown
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import SHARED, CauseBook

__all__ = ["KeptSetPoint", "KeptSetPoints", "kept_set_points"]


@dataclass(frozen=True)
class KeptSetPoint:
    """What to set for one line; None where it cannot be given, with the reason in ``remark``.

    ``origin`` says where the frequency comes from. ``drive_v`` is as the voltmeter shows that the oscillator was
    calibrated with. ``u_setting_mhz`` is the standard uncertainty of the frequency that this voltage makes, minus the
    frequency wanted: what both calibrations share, such as one counter's time base, cancels. ``share_of_fwhm`` and
    ``light_lost_percent`` state the same (the loss at the 95 % limit of that error), ``budget`` whose share it is.
    """

    line: str
    wavelength_nm: UFloat | float | None
    frequency_mhz: UFloat | None
    origin: str
    drive_v: UFloat | None
    u_setting_mhz: float | None
    share_of_fwhm: float | None
    light_lost_percent: float | None
    largest_cause: str
    budget: Mapping[str, float]
    remark: str


_PAIRS = ("wavelength_nm", "frequency_mhz", "drive_v")


@dataclass(frozen=True)
class KeptSetPoints:
    """The set-points of several lines, made by ``kept_set_points``; ``advice`` is for all of them."""

    points: tuple[KeptSetPoint, ...]
    title: str
    advice: tuple[str, ...]

    def __iter__(self) -> Iterator[KeptSetPoint]:
        return iter(self.points)

    def __len__(self) -> int:
        return len(self.points)

    def __getitem__(self, line: str) -> KeptSetPoint:
        for point in self.points:
            if point.line == line:
                return point
        known = ", ".join(p.line for p in self.points)
        raise AotfLabError("no set-point of this name", found=line, allowed=known, cure="use a listed name")

    @property
    def table(self) -> pd.DataFrame:
        """One row a line, in bench units, u in columns of their own; not a number where a value cannot be given."""
        plain = [f.name for f in fields(KeptSetPoint) if f.name not in (*_PAIRS, "line", "origin", "budget")]
        rows = []
        for point in self.points:
            row: dict[str, object] = {"line": point.line, "origin": point.origin}
            for name in _PAIRS:
                value = getattr(point, name)
                row[name] = float("nan") if value is None else nominal_value(value)
                row[f"u_{name}"] = float("nan") if value is None else std_dev(value)
            rows.append(row | {name: getattr(point, name) for name in plain})
        table = pd.DataFrame(rows)
        number = ["u_setting_mhz", "share_of_fwhm", "light_lost_percent"]
        return table.astype(dict.fromkeys(number, float)) if rows else table

    def to_csv(self, path: str | Path) -> Path:
        """Write the table as CSV, atomically, and return the path."""
        target = Path(path)
        write_text_atomically(target, self.table.to_csv(index=False))
        return target

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (line, what to set), one pair per line of ``str``."""
        return tuple((point.line, _words(point)) for point in self.points)

    def __str__(self) -> str:
        return rows_text(self.title, self.rows(), self.advice)

    def _repr_html_(self) -> str:
        return rows_html(self.title, self.rows(), self.advice)


def kept_set_points(
    oscillator: OscillatorRecord,
    crystal: CrystalRecord,
    lines: Iterable[str] | Mapping[str, UFloat | float] | None = None,
    *,
    book: CauseBook | None = None,
) -> KeptSetPoints:
    """Return what to set for each line, from the two calibrations as they stand.

    ``lines`` are names of the crystal's lines, or map names to wavelengths in vacuum (nm); None stands for all that
    the crystal's calibration has. A line with a peak of its own is set to that, any other by the tuning curve. A line
    that cannot be reached stays in the result with the reason. Raises ``AotfLabError`` for a name that is no line.
    """
    causes = book or SHARED
    points = tuple(_point(oscillator, crystal, *line, causes) for line in _wanted(crystal, lines, causes))
    title = f"Set-points: oscillator as of {oscillator.as_of}, crystal as of {crystal.as_of}"
    return KeptSetPoints(points, title, tuple(_advice(oscillator, crystal)))


def _wanted(
    crystal: CrystalRecord, lines: Iterable[str] | Mapping[str, UFloat | float] | None, book: CauseBook
) -> Iterator[tuple[str, UFloat | float | None]]:
    """Yield name and wavelength (nm) of each line."""
    if isinstance(lines, Mapping):
        yield from lines.items()
        return
    for name in crystal.lines if lines is None else lines:
        if name not in crystal.lines:
            raise AotfLabError(
                "no such line in the crystal's calibration", where=f"{crystal.name}, {crystal.measured}", found=name,
                allowed=", ".join(crystal.lines) or "none", cure="name a listed line, or state its wavelength",
            )  # fmt: skip
        nm = crystal.lines[name]
        plain = nm if np.isfinite(nm) else None
        yield name, crystal.number("wavelength", name, book) if crystal.known("wavelength", name) else plain


def _point(
    oscillator: OscillatorRecord, crystal: CrystalRecord, name: str, nm: UFloat | float | None, book: CauseBook
) -> KeptSetPoint:
    remarks = [c.detail for c in crystal.failed if c.name == f"line {name}"]
    frequency, origin = None, "none"
    try:
        frequency, origin = _target(crystal, name, nm, book)
    except AotfLabError as error:
        remarks.append(str(error))
    if nm is not None and crystal.anchored_nm is not None:
        low, high = crystal.anchored_nm
        if not low <= nominal_value(nm) <= high:
            remarks.append(f"beyond the anchor lines ({low:.1f} to {high:.1f} nm)")
    drive = setting = fwhm = None
    if frequency is not None:
        try:
            drive = oscillator.drive(frequency, book)
            setting = oscillator.frequency(drive.n, book) - frequency
            fwhm = crystal.fwhm_mhz(frequency.n).n
        except OutOfRangeError as error:
            remarks.append(str(error))
        except AotfLabError:
            remarks.append("no passband is known: what the error costs in light is not given")
    u = None if setting is None else float(setting.s)
    share = lost = None
    if u is not None and fwhm is not None:
        factor = max(oscillator.coverage_factor, crystal.coverage_factor(name))
        share, lost = u / fwhm, light_lost_percent(factor * u, fwhm)
    return KeptSetPoint(
        line=name,
        wavelength_nm=nm,
        frequency_mhz=frequency,
        origin=origin,
        drive_v=drive,
        u_setting_mhz=u,
        share_of_fwhm=share,
        light_lost_percent=lost,
        largest_cause="none" if setting is None else largest_cause(setting),
        budget={} if setting is None else {k: v for k, v in variance_shares(setting).items() if v > 0},
        remark="; ".join(remarks),
    )


def _target(crystal: CrystalRecord, name: str, nm: UFloat | float | None, book: CauseBook) -> tuple[UFloat, str]:
    """Return the frequency (MHz) wanted for a line, and where it comes from."""
    if nm is None or crystal.known("peak", name):
        return crystal.peak(name, book), "own peak"
    return crystal.frequency(nm, book), "tuning curve"


def _advice(oscillator: OscillatorRecord, crystal: CrystalRecord) -> Iterator[str]:
    yield "an oscillator moves within hours: check it at one to three voltages before these are set"
    if oscillator.name != crystal.name:
        yield f"two names: oscillator of {oscillator.name}, crystal of {crystal.name}; do they belong to one bench?"
    if "mhz_per_k" in oscillator.coefficients and "temperature_c" in oscillator.conditions:
        slope, then = oscillator.coefficients["mhz_per_k"][0], oscillator.conditions["temperature_c"]
        yield f"the oscillator stood at {then:.1f} C; each kelvin of its box moves it by {1e3 * slope:+.3g} kHz"
    if "relative_per_k" in crystal.coefficients and "crystal_c" in crystal.conditions:
        slope, then = crystal.coefficients["relative_per_k"][0], crystal.conditions["crystal_c"]
        yield f"the crystal stood at {then:.1f} C; each kelvin moves its peaks by {1e6 * slope:+.3g} ppm"
    for record in (oscillator, crystal):
        for check in record.failed:
            yield f"{record.part} of {record.measured}: {check}"


def _words(point: KeptSetPoint) -> str:
    parts = [
        f"no {unit}" if value is None else f"{shown(value)} {unit}"
        for value, unit in ((point.wavelength_nm, "nm"), (point.frequency_mhz, "MHz"), (point.drive_v, "V"))
    ]
    if point.light_lost_percent is not None:
        parts.append(f"light lost up to {point.light_lost_percent:.2g} %")
    return "  ".join([*parts, *([point.remark] if point.remark else [])])
