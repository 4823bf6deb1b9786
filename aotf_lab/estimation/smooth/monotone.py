"""The nearest rising curve to a smooth fit, and how far away it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit

__all__ = ["Monotone", "made_monotone"]

_PLACES = 240
_LEAST_SHARE = 1e-3


@dataclass(frozen=True)
class Monotone:
    """A rising curve.

    ``distance_squared`` is how far it lies from the free fit, as a chi-square of the fit's own
    covariance (0 when the free fit rises by itself); ``falls_at`` (low, high) is where the free
    fit fell.
    """

    fit: SmoothFit
    distance_squared: float
    falls_at: tuple[float, float] | None


def made_monotone(fit: SmoothFit) -> Monotone:
    """Return the rising curve nearest to ``fit`` in the metric of its covariance.

    This is the mode of the posterior restricted to rising curves; the covariance is kept, which
    makes the band too wide rather than too narrow where the restriction acts (compare Lin and
    Dunson, Biometrika 101, 303 (2014)). A slope of a thousandth of the mean slope counts as rising.
    """
    places = np.linspace(fit.low, fit.high, _PLACES)
    m = len(fit.nodes)
    slopes = fit.slope_rows(places)
    least = _LEAST_SHARE * float(np.ptp(fit.values[:m])) / (fit.high - fit.low)
    short = least - slopes @ fit.values[:m]
    if np.all(short <= 0):
        return Monotone(fit, 0.0, None)
    falling = places[short > 0]
    eigenvalues, vectors = np.linalg.eigh(fit.scatter + fit.form)
    factor = vectors * np.sqrt(np.clip(eigenvalues, 1e-14 * eigenvalues[-1], None))
    step = _least_distance(slopes @ factor[:m], short)
    moved = replace(fit, values=fit.values + factor @ step)
    return Monotone(moved, float(step @ step), (float(falling[0]), float(falling[-1])))


def _least_distance(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the shortest z with ``a`` @ z >= ``b``.

    Lawson and Hanson, Solving Least Squares Problems (1974), chapter 23, algorithm LDP.
    """
    size = float(np.max(np.abs(a)))
    target = np.zeros(a.shape[1] + 1)
    target[-1] = 1.0
    system = np.vstack([a.T / size, b[None] / size])
    weights, _ = nnls(system, target)
    gap = system @ weights - target
    return np.asarray(-gap[:-1] / gap[-1]) if abs(gap[-1]) > 0 else np.full(a.shape[1], np.inf)
