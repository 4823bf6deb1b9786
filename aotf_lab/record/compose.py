"""Set-points from two kept calibrations: the oscillator's and the crystal's meet here, and nowhere before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.efficiency.line_curves import LineCurves
from aotf_lab.errors import AotfLabError, OutOfRangeError
from aotf_lab.estimation import largest_cause, variance_shares
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given_list, given_number
from aotf_lab.planning.curves import light_lost_percent
from aotf_lab.planning.power_point import PowerPoint, line_power
from aotf_lab.planning.set_point import SetPoint, SetPoints, shown
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.given import given_crystal, given_oscillator
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import SHARED, CauseBook

__all__ = ["KeptSetPoints", "kept_set_points"]


_NO_SUPPLY = (
    "no supply is given, and whether the amplifier makes these powers is not known here: measure its level into the "
    "load, and take supply and RF power from the set-points of that session"
)


@dataclass(frozen=True)
class KeptSetPoints(SetPoints):
    """The set-points of several lines, made by ``kept_set_points``; ``advice`` is for all of them.

    ``drive_v`` is as the voltmeter shows that the oscillator was calibrated with. ``u_setting_mhz`` is without what
    both calibrations share, such as one counter's time base. ``drive_other_meter_v`` is for any other voltmeter, None
    where the oscillator was kept without the errors of its own. ``rf_power_w`` is what the crystal takes for most
    light, sure to stay below its rating; None where it was kept without efficiency. Whether the amplifier makes it, and
    at which supply, two calibrations cannot say: ``supply_v`` is None.
    """

    title: str
    advice: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a line, in bench units, u in columns of their own; not a number where a value cannot be given."""
        return super().table.drop(columns=["supply_v", "u_supply_v"], errors="ignore")

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
    lines: str | Iterable[str] | Mapping[str, UFloat | float] | None = None,
    *,
    book: CauseBook | None = None,
) -> KeptSetPoints:
    """Return what to set for each line, from the two calibrations as they stand.

    ``lines`` are names of the crystal's lines (or one), or map names to wavelengths in vacuum (nm); None stands for all
    that the crystal's calibration has. A line with a peak of its own is set to that, any other by the tuning curve. A
    line that cannot be reached stays in the result with the reason. Raises ``AotfLabError`` for a name that is no line
    and a wavelength that is none.
    """
    given_oscillator(oscillator)
    given_crystal(crystal)
    causes = book or SHARED
    curves = crystal.light_curves(causes)
    points = tuple(_point(oscillator, crystal, curves, *line, causes) for line in _wanted(crystal, lines, causes))
    title = f"Set-points: oscillator as of {oscillator.as_of}, crystal as of {crystal.as_of}"
    given = [_NO_SUPPLY] if any(point.rf_power_w is not None for point in points) else []
    return KeptSetPoints(points, title, (*_advice(oscillator, crystal), *given))


def _wanted(
    crystal: CrystalRecord, lines: str | Iterable[str] | Mapping[str, UFloat | float] | None, book: CauseBook
) -> Iterator[tuple[str, UFloat | float | None]]:
    """Yield name and wavelength (nm) of each line."""
    if isinstance(lines, Mapping):
        for name, stated in lines.items():
            known = (
                None if stated is None else given_number(stated, f"wavelength of {name}", "nm", above=0, with_u=True)
            )
            yield name, known
        return
    several = [lines] if isinstance(lines, str) else crystal.lines if lines is None else lines
    cure = "map a name to a wavelength: {name: nm}"
    for name in given_list(several, "lines", "names of lines, or a table of names and wavelengths (nm)", cure):
        if name not in crystal.lines:
            raise AotfLabError(
                "no such line in the crystal's calibration", where=f"{crystal.name}, {crystal.measured}", found=name,
                allowed=", ".join(crystal.lines) or "none", cure="name a listed line, or state its wavelength",
            )  # fmt: skip
        nm = crystal.lines[name]
        plain = nm if np.isfinite(nm) else None
        yield name, crystal.number("wavelength", name, book) if crystal.known("wavelength", name) else plain


def _point(
    oscillator: OscillatorRecord,
    crystal: CrystalRecord,
    curves: LineCurves | None,
    name: str,
    stated_nm: UFloat | float | None,
    book: CauseBook,
) -> SetPoint:
    nm, frequency, origin, why = _target(crystal, name, stated_nm, book)
    against = [c.detail for c in crystal.failed if c.name == f"line {name}"]
    remarks = [*against, *filter(None, (why, _beyond_anchors(crystal, nm)))]
    drive = other = setting = fwhm = None
    if frequency is not None:
        try:
            drive = oscillator.drive(frequency, book)
            other = None if oscillator.u_gain is None else oscillator.drive_true(frequency, book)
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
    power = _power(crystal, curves, name, nm)
    return SetPoint(
        line=name,
        wavelength_nm=nm,
        frequency_mhz=frequency,
        origin=origin,
        drive_v=drive,
        drive_other_meter_v=other,
        rf_power_w=power.rf_power_w,
        efficiency=power.efficiency,
        u_setting_mhz=u,
        share_of_fwhm=share,
        light_lost_percent=lost,
        largest_cause="none" if setting is None else largest_cause(setting),
        budget={} if setting is None else {k: v for k, v in variance_shares(setting).items() if v > 0},
        reachable=drive is not None,
        remark="; ".join([*remarks, *filter(None, [power.remark])]),
        doubtful=bool(against),
    )


def _target(
    crystal: CrystalRecord, name: str, nm: UFloat | float | None, book: CauseBook
) -> tuple[UFloat | float | None, UFloat | None, str, str]:
    """Return a line's wavelength (nm), the frequency (MHz) wanted for it, where that comes from, and a remark."""
    try:
        if nm is not None and not crystal.known("peak", name):
            return nm, crystal.frequency(nm, book), "tuning curve", ""
        frequency = crystal.peak(name, book)
    except AotfLabError as error:
        return nm, None, "none", str(error)
    if nm is None and len(crystal.wavelengths_nm):
        try:
            nm = crystal.wavelength(frequency, book)
        except OutOfRangeError as error:
            return None, frequency, "own peak", f"wavelength not given: {error}"
    return nm, frequency, "own peak", ""


def _beyond_anchors(crystal: CrystalRecord, nm: UFloat | float | None) -> str:
    if nm is None or crystal.anchored_nm is None:
        return ""
    low, high = crystal.anchored_nm
    return "" if low <= nominal_value(nm) <= high else f"beyond the anchor lines ({low:.1f} to {high:.1f} nm)"


def _power(crystal: CrystalRecord, curves: LineCurves | None, name: str, nm: UFloat | float | None) -> PowerPoint:
    """Return the RF power for most light at a line; of a calibration kept without it ``_advice`` says so."""
    if crystal.efficiency is None:
        return PowerPoint()
    return line_power(curves, crystal.rated_rf_power_w, nm, where=name, missing=crystal.efficiency.missing)


def _advice(oscillator: OscillatorRecord, crystal: CrystalRecord) -> Iterator[str]:
    yield "an oscillator moves within hours: check it at one to three voltages before these are set"
    if oscillator.u_gain is None:
        yield "no drive by another meter: the oscillator was kept without its voltmeter's errors; keep its session anew"
    if crystal.efficiency is None:
        yield "no RF power: the crystal was kept without its efficiency; keep its session anew"
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


def _words(point: SetPoint) -> str:
    parts = [
        f"no {unit}" if value is None else f"{shown(value)} {unit}"
        for value, unit in ((point.wavelength_nm, "nm"), (point.frequency_mhz, "MHz"), (point.drive_v, "V"))
    ]
    if point.drive_other_meter_v is not None:
        parts.append(f"{shown(point.drive_other_meter_v)} V by another meter")
    if point.rf_power_w is not None:
        parts.append(f"{shown(point.rf_power_w)} W")
    if point.light_lost_percent is not None:
        parts.append(f"light lost up to {point.light_lost_percent:.2g} %")
    return "  ".join([*parts, *([point.remark] if point.remark else [])])
