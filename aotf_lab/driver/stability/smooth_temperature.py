"""The box temperature behind a noisy thermometer."""

from __future__ import annotations

import numpy as np

from aotf_lab.driver.stability.walk import Whitener, walk_fit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["smooth_temperature"]

_TOLD = 3.0
"""By how much the walk must be more likely (in the logarithm) than a temperature on a straight line."""
_LEAST_K = 1e-6
"""A thermometer without noise shows this much at least beside the straight line."""


def smooth_temperature(time_s: FloatArray, temperature_c: FloatArray) -> FloatArray | None:
    """Return the temperature (n,) freed of the thermometer's noise, None where it shows nothing but a straight line.

    A slow drift of the frequency takes in what a straight line does: beside it the noise alone would make the
    coefficient, far too small (0.05 of the true one with 1 K in two hours and 0.03 K of noise).

    The noise of the thermometer in a regression makes the coefficient too small; what the neighbours say of the
    temperature does not (regression calibration: R. J. Carroll, D. Ruppert, L. A. Stefanski and C. M. Crainiceanu,
    Measurement Error in Nonlinear Models, 2006, ch. 4).
    """
    line = np.stack([np.ones_like(time_s), time_s / time_s[-1]], axis=1)
    moved = temperature_c - temperature_c.mean()
    if np.ptp(moved - line @ np.linalg.lstsq(line, moved)[0]) < _LEAST_K:
        return None
    beside = walk_fit(time_s, moved, line)
    if beside.best.likelihood - beside.white.likelihood < _TOLD:
        return None
    fit = walk_fit(time_s, moved, line[:, :1])
    residual = moved - fit.best.values[0]
    return np.asarray(temperature_c - Whitener.of(time_s, fit.best.ratio).white_part(residual))
