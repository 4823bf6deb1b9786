"""Where a line's saturation power and peak efficiency come from, and what stands in where they were not measured."""

from __future__ import annotations

from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve
from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD
from aotf_lab.crystal.efficiency.lines import EfficiencyLines
from aotf_lab.errors import AotfLabError, OutOfRangeError

__all__ = ["LineDrive", "line_drive"]


@dataclass(frozen=True)
class LineDrive:
    """Saturation power (true W) and peak efficiency of a line, None where they are not known; and where from."""

    saturation_power_w: UFloat | None
    peak_efficiency: UFloat | None
    remark: str = ""


def line_drive(efficiency: EfficiencyLines | None, line: str, wavelength_nm: UFloat | float | None) -> LineDrive:
    """Return the drive of ``line`` by what ``efficiency`` knows, with wider u the further it is taken."""
    if efficiency is None:
        return LineDrive(None, None, "no efficiency against RF power was measured: the light is not known")
    nm = efficiency.wavelengths_nm.get(line)
    nm = nm if wavelength_nm is None else float(nominal_value(wavelength_nm))
    try:
        if efficiency.level != SLOPE_ONLY:
            return _by_peak(efficiency, line, nm)
        return _by_slope(efficiency, line, nm)
    except AotfLabError as error:
        return LineDrive(None, None, f"the light is not known: {error}")


def _by_peak(efficiency: EfficiencyLines, line: str, nm: float | None) -> LineDrive:
    if line in efficiency.own:
        curve = efficiency.line(line)
        if curve.level == SLOPE_ONLY:
            remark = f"saturation power of {line} by its slope and a peak of 0.80(10)"
            return _typical(efficiency, line, curve.slope_per_w, remark)
        return LineDrive(curve.saturation_power_w, curve.peak_efficiency)
    if nm is None:
        return LineDrive(None, None, f"the wavelength of {line} is not known, so its saturation power is not")
    try:
        curve = efficiency.at(nm)
    except OutOfRangeError:
        nearest = min(efficiency.wavelengths_nm.values(), key=lambda w: abs(w - nm))
        power = efficiency.shared.saturation_power_w(nm) * (1 + efficiency.assumed.far)
        remark = f"{line} lies far beyond the lines with efficiency: P_sat by their law of wavelength, eta_max by them"
        return LineDrive(power, efficiency.at(nearest).peak_efficiency, remark)
    return LineDrive(curve.saturation_power_w, curve.peak_efficiency, f"efficiency of {line} by the other lines' law")


def _by_slope(efficiency: EfficiencyLines, line: str, nm: float | None) -> LineDrive:
    """Return P_sat by an initial slope: the line's own, or the nearest line's by the law of wavelength."""
    why = "no drive showed a curve bend: P_sat by the initial slope and a peak efficiency of 0.80(10)"
    own: EfficiencyCurve | None = efficiency.own.get(line)
    if own is not None:
        return _typical(efficiency, line, own.slope_per_w, f"{line}: {why}")
    if nm is None or not efficiency.wavelengths_nm:
        return LineDrive(None, None, f"the wavelength of {line} is not known, so its saturation power is not")
    name = min(efficiency.wavelengths_nm, key=lambda n: abs(efficiency.wavelengths_nm[n] - nm))
    ratio = efficiency.wavelengths_nm[name] / nm
    slope = efficiency.own[name].slope_per_w * ratio**efficiency.shared.exponent_before
    return _typical(efficiency, line, slope, f"{line}: {why} of line {name}")


def _typical(efficiency: EfficiencyLines, line: str, slope_per_w: UFloat, remark: str) -> LineDrive:
    peak = efficiency.assumed.peak(line)
    return LineDrive(QUARTER_PERIOD * peak / slope_per_w, peak, remark)
