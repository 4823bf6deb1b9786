"""The box temperature behind a noisy thermometer."""

from __future__ import annotations

import numpy as np

from aotf_lab.driver.stability.walk import Whitener, walk_fit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["smooth_temperature"]

_TOLD = 3.0
"""By how much the walk must be more likely (in the logarithm) than a temperature that stands still."""


def smooth_temperature(time_s: FloatArray, temperature_c: FloatArray) -> FloatArray | None:
    """Return the temperature (n,) freed of the thermometer's noise, None where it cannot be told from noise.

    The noise of the thermometer in a regression makes the coefficient too small; what the neighbours say of the
    temperature does not (regression calibration: R. J. Carroll, D. Ruppert, L. A. Stefanski and C. M. Crainiceanu,
    Measurement Error in Nonlinear Models, 2006, ch. 4).
    """
    if np.ptp(temperature_c) == 0:
        return None
    constant = np.ones((len(time_s), 1))
    fit = walk_fit(time_s, temperature_c - temperature_c.mean(), constant)
    if fit.best.likelihood - fit.white.likelihood < _TOLD:
        return None
    residual = temperature_c - temperature_c.mean() - fit.best.values[0]
    return np.asarray(temperature_c - Whitener.of(time_s, fit.best.ratio).white_part(residual))
