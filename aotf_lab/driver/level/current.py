"""What the amplifier takes from its supply, and what of that stays in it as heat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.level.rows import LevelRows
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, Parameter
from aotf_lab.estimation.weighted import weighted_fit

__all__ = ["FEWEST_CURRENTS", "SupplyCurrent", "fit_current"]

FEWEST_CURRENTS = 4


@dataclass(frozen=True)
class SupplyCurrent:
    """I = quiescent + slope sqrt(P): a class AB stage draws with the RF current (common practice, no source)."""

    fit: Fit

    def supply_a(self, power_w: float) -> UFloat:
        """Return the current (A) at RF power ``power_w`` (W), the nominal one of the level."""
        found = self.fit.parameters
        return found["quiescent_a"] + found["slope_a_per_root_w"] * power_w**0.5


def fit_current(rows: LevelRows, power_w: FloatArray) -> SupplyCurrent | None:
    """Return the current against the level's ``power_w`` (n,), None where fewer than four rows have both.

    ``power_w`` is NaN where the level does not reach.
    """
    have = np.isfinite(rows.current_a) & np.isfinite(power_w)
    if have.sum() < FEWEST_CURRENTS:
        return None
    root, current = np.sqrt(power_w[have]), rows.current_a[have]

    def line(x: FloatArray, quiescent_a: float, slope_a_per_root_w: float) -> FloatArray:
        return quiescent_a + slope_a_per_root_w * x

    slope, offset = np.polyfit(root, current, 1)
    parameters = [Parameter("quiescent_a", float(offset)), Parameter("slope_a_per_root_w", float(slope))]
    places = [rows.places[int(k)] for k in np.flatnonzero(have)]
    return SupplyCurrent(weighted_fit(line, parameters, root, current, None, scatter="the current", places=places))
