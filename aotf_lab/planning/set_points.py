"""From curves to set-points: which frequency, which voltage, how much RF power, for each line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation import largest_cause, variance_shares
from aotf_lab.given import given_number
from aotf_lab.planning.curves import Curves, HasCurves, curves_of, light_lost_percent, wanted_lines
from aotf_lab.planning.power_point import PowerPoint
from aotf_lab.planning.set_point import SetPoint, SetPoints
from aotf_lab.planning.supply_point import supply_point

__all__ = ["set_points"]


def set_points(
    source: Curves | HasCurves,
    lines: Mapping[str, UFloat | float | None] | Iterable[float | str] | None = None,
    *,
    rf_power_w: float | None = None,
) -> SetPoints:
    """Return what to set for each line.

    ``lines`` maps names to wavelengths in vacuum (nm), or lists wavelengths, or lists names of the
    session's own lines; None stands for all of them. A line that was scanned is set to its own
    peak; any other to the tuning curve. ``rf_power_w`` is one power wanted at every line, as the
    bench's scope indicates it; None chooses for each line the power for most light that is sure to
    stay below the rating.

    A line that cannot be reached stays in the result with the reason. Raises ``UnsafeDriveError``
    when the upper 97.5 % bound of ``rf_power_w`` exceeds the crystal's rated power, and
    ``AotfLabError`` for a name that is no line.
    """
    curves, own = curves_of(source)
    if rf_power_w is not None:
        rf_power_w = given_number(rf_power_w, "rf_power_w", "W", above=0)
    wanted = wanted_lines(lines, own, curves)
    return SetPoints(tuple(_set_point(curves, name, value, rf_power_w) for name, value in wanted.items()))


@dataclass(frozen=True)
class _Target:
    """The frequency wanted for a line, and where it comes from."""

    wavelength_nm: UFloat | float | None
    frequency_mhz: UFloat | None
    origin: str
    remark: str = ""


def _target(curves: Curves, name: str, wavelength: UFloat | float | None) -> _Target:
    if name in curves.modulators:
        return _Target(wavelength, curves.modulators[name].carrier_mhz, "carrier")
    if name in curves.scans:
        frequency = curves.scans[name].centre_mhz
        if wavelength is None and curves.tuning is not None:
            try:
                wavelength = curves.tuning.wavelength(frequency)
            except OutOfRangeError as error:
                return _Target(None, frequency, "own peak", f"wavelength not given: {error}")
        return _Target(wavelength, frequency, "own peak")
    if curves.tuning is None or wavelength is None:
        return _Target(wavelength, None, "none", "neither a scan of this line nor a tuning curve with its wavelength")
    try:
        return _Target(wavelength, curves.tuning.frequency(wavelength), "tuning curve")
    except OutOfRangeError as error:
        return _Target(wavelength, None, "tuning curve", str(error))


def _set_point(curves: Curves, name: str, wavelength: UFloat | float | None, rf_power_w: float | None) -> SetPoint:
    target = _target(curves, name, wavelength)
    frequency = target.frequency_mhz
    doubt = curves.doubts.get(name)
    words = doubt.words if doubt is not None else ""
    remarks = [r for r in (words, target.remark, _beyond_anchors(curves, target)) if r]
    drive = other = setting = None
    if frequency is not None and curves.vco is not None:
        try:
            drive = curves.vco.drive(frequency)
            other = curves.vco.drive_true(frequency)
            setting = curves.vco.frequency(drive.n) - frequency
        except OutOfRangeError as error:
            remarks.append(str(error))
    elif curves.vco is None:
        remarks.append(f"no oscillator curve: {curves.missing.get('vco', 'it was not measured')}")
    power, supply = supply_point(curves, target.wavelength_nm, frequency, rf_power_w, where=name)
    if power.remark:
        remarks.append(power.remark)
    return _assembled(curves, name, target, (drive, other, setting), (power, supply), "; ".join(remarks))


def _beyond_anchors(curves: Curves, target: _Target) -> str:
    """Return a remark when the tuning curve answered outside the span of its lines."""
    if curves.tuning is None or target.wavelength_nm is None:
        return ""
    low, high = curves.tuning.anchored_nm
    nm = float(nominal_value(target.wavelength_nm))
    return "" if low <= nm <= high else f"beyond the anchor lines ({low:.1f} to {high:.1f} nm)"


def _coverage_factor(curves: Curves, name: str) -> float:
    """Return the factor of the 95 % interval: the largest of the fits that the set-point rests on."""
    line = curves.scans.get(name) or curves.tuning
    fits = [c.fit for c in (curves.vco, line) if c is not None]
    if name in curves.modulators:
        fits.append(curves.modulators[name].response.fit)
    return max(f.coverage_factor() for f in fits)


def _assembled(
    curves: Curves,
    name: str,
    target: _Target,
    drives: tuple[UFloat | None, UFloat | None, UFloat | None],
    powers: tuple[PowerPoint, UFloat | None],
    remark: str,
) -> SetPoint:
    drive, other, setting = drives
    power, supply = powers
    frequency = target.frequency_mhz
    fwhm = curves.fwhm_mhz(frequency.n) if frequency is not None else None
    share = lost = None
    if setting is not None and fwhm is not None:
        share = float(setting.s / fwhm)
        lost = light_lost_percent(_coverage_factor(curves, name) * float(setting.s), fwhm)
    return SetPoint(
        name,
        target.wavelength_nm,
        frequency,
        target.origin,
        drive,
        other,
        power.rf_power_w,
        power.efficiency,
        None if setting is None else float(setting.s),
        share,
        lost,
        "none" if setting is None else largest_cause(setting),
        {} if setting is None else variance_shares(setting),
        drive is not None,
        remark,
        name in curves.doubts and curves.doubts[name].grave,
        supply,
    )
