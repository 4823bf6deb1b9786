"""RF power over the band while parked, and each line's full light at the same amplifier supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.level import Level
from aotf_lab.errors import AotfLabError, OutOfRangeError, Said, UnsafeDriveError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_number
from aotf_lab.planning.assumed_driver import U_FLAT_DB
from aotf_lab.planning.curves import Curves, HasCurves
from aotf_lab.planning.one_drive import one_drive, require_amplifier
from aotf_lab.planning.safe_drive import require_safe

__all__ = ["ParkedDrive", "parked_drive"]


@dataclass(frozen=True)
class ParkedDrive:
    """RF power (W) of the fundamental against frequency: by ``level`` at ``supply_v``, or ``flat_w`` everywhere."""

    level: Level | None
    supply_v: float | None
    flat_w: UFloat | None
    words: str

    def nominal_w(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the power (n,) at ``frequency_mhz`` (n,); not a number outside the measured band."""
        f = np.asarray(frequency_mhz, dtype=float)
        if self.level is None or self.supply_v is None:
            return np.full(f.shape, self.flat_w.n if self.flat_w is not None else np.nan)
        low, high = self.level.range_mhz
        inside = np.clip(f, low, high)
        power = self.level.nominal_w(np.full(len(f), self.supply_v), inside)
        return np.where((f >= low - 1e-9) & (f <= high + 1e-9), power, np.nan)

    def power_w(self, frequency_mhz: float) -> UFloat:
        """Return the power at one frequency with its uncertainty; raises ``OutOfRangeError`` outside the band."""
        if self.level is None or self.supply_v is None:
            assert self.flat_w is not None
            return self.flat_w
        return self.level.rf_power(self.supply_v, frequency_mhz)

    def power_at_line_w(self, frequency_mhz: float) -> UFloat | None:
        """Return the power at a line, None where the amplifier was not measured there."""
        try:
            return self.power_w(frequency_mhz)
        except OutOfRangeError:
            return None


def parked_drive(
    source: Curves | HasCurves, curves: Curves, supply_v: float | None, rf_power_w: UFloat | float | None
) -> ParkedDrive:
    """Return the drive at ``supply_v``, at ``rf_power_w`` where there is no amplifier curve, else at the one drive.

    Raises ``UnsafeDriveError`` above what is safe, ``AotfLabError`` where the power is not known or given twice.
    """
    supply_v = None if supply_v is None else given_number(supply_v, "supply_v", "V")
    if rf_power_w is not None:
        rf_power_w = given_number(rf_power_w, "rf_power_w", "W", with_u=True)
        return _flat(curves, supply_v, rf_power_w)
    level, safe = require_amplifier(curves, "parking")
    if supply_v is None:
        chosen = one_drive(source).supply_v
        return ParkedDrive(level, chosen, None, f"supply {chosen:.2f} V, the one drive for all lines")
    if supply_v > safe.supply_v + 1e-9:
        raise UnsafeDriveError(
            "a supply above the safe one", found=Said(f"{supply_v:.2f} V"), allowed=f"at most {safe.supply_v:.2f} V",
            cure="take a lower supply",
        )  # fmt: skip
    level.rf_power(supply_v, level.range_mhz[0])  # raises below the measured supplies
    return ParkedDrive(level, float(supply_v), None, f"supply {supply_v:.2f} V")


def _flat(curves: Curves, supply_v: float | None, rf_power_w: UFloat | float) -> ParkedDrive:
    nominal = float(rf_power_w.n if isinstance(rf_power_w, UFloat) else rf_power_w)
    if supply_v is not None or not (np.isfinite(nominal) and nominal > 0):
        raise AotfLabError(
            "RF power without a meaning", found=Said(f"{nominal:g} W" + (" and a supply" if supply_v else "")),
            allowed="above 0 W, and no supply_v beside it", cure="state one of rf_power_w and supply_v",
        )  # fmt: skip
    if curves.rated_rf_power_w is None:
        raise UnsafeDriveError(
            "no RF power can be called safe", found=Said("no rated RF power"), allowed="[crystal] rated_rf_power_w",
            cure="state it from the crystal's own papers",
        )  # fmt: skip
    flat = rf_power_w * (1 + curves.assumed_driver.flatness)
    require_safe(flat, curves.rated_rf_power_w, "parking")
    return ParkedDrive(None, None, flat, f"{nominal:.3g} W at every frequency, give or take {U_FLAT_DB:g} dB (assumed)")
