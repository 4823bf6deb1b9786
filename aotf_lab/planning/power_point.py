"""How much RF power for one line: for most light, and sure to stay below the rating."""

from __future__ import annotations

from dataclasses import dataclass

from uncertainties import UFloat, nominal_value

from aotf_lab.crystal import EfficiencyCurve
from aotf_lab.crystal.efficiency.line_curves import LineCurves
from aotf_lab.errors import AotfLabError, OutOfRangeError, UnsafeDriveError
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.safe_drive import highest_safe_power, require_safe, true_power
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED

__all__ = ["PowerPoint", "line_power", "power_point"]


@dataclass(frozen=True)
class PowerPoint:
    """RF power (true, when the bench's scope shows its nominal value) and the efficiency there."""

    rf_power_w: UFloat | None = None
    efficiency: UFloat | None = None
    remark: str = ""


def power_point(curves: Curves, wavelength_nm: UFloat | float | None, wanted_w: float | None, where: str) -> PowerPoint:
    """Return the power for one line; ``wanted_w`` None chooses the power for most light.

    Raises ``UnsafeDriveError`` when the upper bound of ``wanted_w`` exceeds the rating.
    """
    lines = None if curves.efficiency is None else curves.efficiency.curves
    why = curves.missing.get("efficiency", "")
    return line_power(lines, curves.rated_rf_power_w, wavelength_nm, wanted_w, where=where, missing=why)


def line_power(
    lines: LineCurves | None,
    rated: float | None,
    wavelength_nm: UFloat | float | None,
    wanted_w: float | None = None,
    *,
    where: str,
    missing: str = "",
) -> PowerPoint:
    """Return the same from the ``lines`` of a crystal ``rated`` (W); ``missing`` says why there are none."""
    if rated is None:
        return PowerPoint(remark="no RF power is given: state [crystal] rated_rf_power_w from the crystal's own papers")
    if lines is None or wavelength_nm is None:
        why = missing or "efficiency against RF power was not measured"
        return PowerPoint(remark=f"no RF power is given: {why}")
    scale = lines.common_errors
    if any(error.name == POWER_SCALE_UNSTATED for error in scale):
        return PowerPoint(remark="no RF power is given: state [instrument.scope] pad_db and probe")
    if wanted_w is not None:
        require_safe(true_power(wanted_w, scale), rated, where)
    try:
        curve = lines.at(float(nominal_value(wavelength_nm)))
    except OutOfRangeError as error:
        return PowerPoint(remark=f"no RF power is given: {_not_near(error)}; measure the efficiency of this line")
    except AotfLabError as error:
        return PowerPoint(remark=f"no RF power is given: {error}")
    try:
        best, remark = (wanted_w, "") if wanted_w is not None else _most_light(curve, highest_safe_power(rated, scale))
        power = true_power(best, scale)
        return PowerPoint(power, curve.efficiency(power), remark or _own_drive(lines, where, best))
    except UnsafeDriveError:
        raise
    except AotfLabError as error:
        return PowerPoint(remark=f"no RF power is given: {error}")


def _not_near(error: OutOfRangeError) -> str:
    """Return in words that a line lies too far from every line whose efficiency was measured."""
    return (
        f"the lines whose efficiency was measured tell it from {error.low:.0f} to {error.high:.0f} nm only, "
        "and this line lies beyond"
    )


def _own_drive(lines: LineCurves, line: str, power_w: float) -> str:
    """Return a remark when a measured line is set beyond its own drive, on what other lines showed."""
    if line not in lines.driven_w or power_w <= lines.driven_w[line]:
        return ""
    return f"RF power by the other lines' saturation: its own drive stopped at {lines.driven_w[line]:.3g} W"


def _most_light(curve: EfficiencyCurve, safe_w: float) -> tuple[float, str]:
    """Return the indicated power for most light that is safe and was measured, with a remark when it falls short."""
    if safe_w < curve.most_light_w:
        return safe_w, f"RF power held at {safe_w:.3g} W by the crystal's rating"
    if curve.most_light_w >= curve.range_w[1]:
        return curve.range_w[1], "RF power held at the highest measured: more was never tried"
    return curve.most_light_w, ""
