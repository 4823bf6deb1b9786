"""Two bands about a fitted curve, which answer two questions.

The confidence band says where the curve may lie, the prediction band where the next reading may.
Both hold at each x by itself, with the coverage factor of the fit (normal, or Student t).
"""

from __future__ import annotations

import numpy as np

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.evaluate import FittedFunction
from aotf_lab.estimation.problem import FloatArray

__all__ = ["confidence_band", "prediction_band"]


def confidence_band(function: FittedFunction, x: FloatArray, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Return the low and high ends (n,) between which the curve lies at ``x`` with ``confidence``.

    Raises ``AotfLabError`` for a confidence outside 0 to 1.
    """
    return _band(function, x, function.u(x), confidence)


def prediction_band(
    function: FittedFunction, x: FloatArray, u_reading: FloatArray | float | None = None, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Return the low and high ends (n,) between which the next reading at ``x`` falls with ``confidence``.

    ``u_reading`` is the stated standard uncertainty of such a reading, in the curve's unit; it is
    scaled up as far as the scatter of the fit was. None takes the one that the fit estimated.
    Raises ``AotfLabError`` when there is none, or it is below zero, or for a confidence outside 0 to 1.
    """
    fit = function.fit
    u = fit.noise if u_reading is None else u_reading
    if u is None or not np.all(np.asarray(u, dtype=float) >= 0):
        raise AotfLabError(
            "standard uncertainty of the next reading",
            found="none" if u is None else float(np.min(u)),
            allowed="zero or more, in the unit of the curve",
            cure="state the accuracy of the instrument that will take it",
        )
    return _band(function, x, np.hypot(function.u(x), np.asarray(u, dtype=float) * fit.birge), confidence)


def _band(function: FittedFunction, x: FloatArray, u: FloatArray, confidence: float) -> tuple[FloatArray, FloatArray]:
    half = function.fit.coverage_factor(confidence) * u
    middle = function.nominal(x)
    return middle - half, middle + half
