"""Which amplifier supply makes the RF power of a line, never above the safe one."""

from __future__ import annotations

from dataclasses import replace

from uncertainties import UFloat, nominal_value

from aotf_lab.driver.level import Level, SafeSupply, supply_for
from aotf_lab.errors import OutOfRangeError, UnsafeDriveError
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.power_point import PowerPoint, power_point

__all__ = ["supply_point"]

_STEP = 1e-3


def supply_point(
    curves: Curves,
    wavelength_nm: UFloat | float | None,
    frequency_mhz: UFloat | None,
    wanted_w: float | None,
    where: str,
) -> tuple[PowerPoint, UFloat | None]:
    """Return the power for one line, and the supply (V) that makes it, None where the amplifier was not measured.

    A power chosen here is held at what the safe supply gives at the line's frequency, or the highest measured one. A
    power that was ``wanted_w`` is not changed: raises ``UnsafeDriveError`` when it needs more than the safe supply.
    """
    point = power_point(curves, wavelength_nm, wanted_w, where)
    if point.rf_power_w is None or frequency_mhz is None or curves.level is None or curves.safe is None:
        return point, None
    level, safe, at = curves.level, curves.safe, float(frequency_mhz.n)
    try:
        return point, _supply(level, safe, point.rf_power_w, at)
    except UnsafeDriveError:
        if wanted_w is not None:
            raise
        held, why = float(level.rf_power(safe.supply_v, at).n), f"the safe supply of {safe.supply_v:.2f} V"
    except OutOfRangeError as error:
        low, high = level.range_mhz
        if not low <= at <= high or wanted_w is not None or nominal_value(point.rf_power_w) <= error.high:
            return _remarked(point, f"no supply is given: {error}"), None
        top = min(level.range_v[1], safe.supply_v)
        held, why = float(level.rf_power(top, at).n), f"the amplifier at {top:.2f} V"
    lower = power_point(curves, wavelength_nm, held * (1.0 - 1e-9), where)
    if lower.rf_power_w is None:
        return lower, None
    return _remarked(lower, f"RF power held at {held:.3g} W by {why}"), _supply(level, safe, lower.rf_power_w, at)


def _supply(level: Level, safe: SafeSupply, rf_power_w: UFloat, frequency_mhz: float) -> UFloat:
    """Return the supply whose power is ``rf_power_w``; what the two share, such as the scale of power, cancels."""
    wanted = float(nominal_value(rf_power_w))
    volts = float(supply_for(level, wanted, frequency_mhz, safe).n)  # raises above the safe supply
    step = _STEP * (level.range_v[1] - level.range_v[0])
    low, high = max(volts - step, level.range_v[0]), min(volts + step, level.range_v[1])
    rise = float(level.rf_power(high, frequency_mhz).n - level.rf_power(low, frequency_mhz).n) / (high - low)
    off = rf_power_w - level.rf_power(volts, frequency_mhz)
    supply: UFloat = volts + (off - off.n) / rise
    return supply


def _remarked(point: PowerPoint, words: str) -> PowerPoint:
    return replace(point, remark="; ".join(filter(None, (point.remark, words))))
