"""The spectrum between its points: at a wavelength, and between two of them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, nominal_value

from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.problem import FloatArray

__all__ = ["density_at", "integral_weights", "local_weights"]

_LEAST = 3


def local_weights(x: FloatArray, at: float, half_width: float) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Return rows (m,) about ``at`` with the weights of a straight line through them: of its value, of its slope.

    The rows within ``half_width``, or the three nearest.
    """
    away = np.abs(x - at)
    nearest = np.argsort(away, kind="stable")
    rows = nearest[: max(int(np.sum(away <= half_width)), min(_LEAST, len(x)))]
    d = x[rows] - at
    centred = d - d.mean()
    square = float(centred @ centred)
    slope = centred / square if square > 0 else np.zeros_like(d)
    return rows, 1.0 / len(rows) - d.mean() * slope, slope


def density_at(
    wavelength_nm: NDArray[np.object_],
    nominal_nm: FloatArray,
    density: NDArray[np.object_],
    at_nm: float,
    half_nm: float,
) -> UFloat:
    """Return the density at ``at_nm`` by a straight line through the points about it, the doubt of their places in."""
    if not nominal_nm.min() <= at_nm <= nominal_nm.max():
        raise OutOfRangeError("wavelength", at_nm, float(nominal_nm.min()), float(nominal_nm.max()), "nm")
    rows, value, slope = local_weights(nominal_nm, at_nm, half_nm)
    steep = float(slope @ np.array([nominal_value(d) for d in density[rows]]))
    result: Any = 0.0
    for r, w in zip(rows, value.tolist(), strict=True):
        result = result + w * (density[r] - steep * (wavelength_nm[r] - float(nominal_nm[r])))
    return result


def integral_weights(x: FloatArray, low: float, high: float) -> FloatArray:
    """Return weights (n,) with which values at rising ``x`` make the integral of straight lines from low to high.

    >>> integral_weights(np.array([0.0, 1.0, 2.0]), 0.5, 2.0).tolist()
    [0.125, 0.875, 0.5]
    """
    a, b = np.clip(x[:-1], low, high), np.clip(x[1:], low, high)
    gap = x[1:] - x[:-1]
    safe = np.where(gap > 0, gap, 1.0)
    right = np.where(gap > 0, ((b - x[:-1]) ** 2 - (a - x[:-1]) ** 2) / (2 * safe), 0.0)
    weights = np.zeros_like(x)
    weights[1:] += right
    weights[:-1] += (b - a) - right
    return weights
