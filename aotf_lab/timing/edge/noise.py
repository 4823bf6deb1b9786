"""The noise of a trace from its plateaus: how large, how one sample hangs on those before it, and the scope's steps.

An autoregressive process of up to three samples, by Yule and Walker's equations on the plateaus, its order by the
Bayesian information criterion (textbook). Filtered by it, samples are independent: the fit is that of generalised
least squares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from aotf_lab.errors import ReadingsError
from aotf_lab.timing.edge.trace import FloatArray

__all__ = ["TraceNoise", "rounding_step_v", "trace_noise"]

_HIGHEST_ORDER = 3
_LEAST = 40


@dataclass(frozen=True)
class TraceNoise:
    """``u_v`` of one sample, ``weights`` (p,) on the samples before it, ``innovation_v`` what is new in each."""

    u_v: float
    weights: FloatArray
    innovation_v: float
    rounding_v: float
    samples: int

    @property
    def rounded(self) -> bool:
        """Whether the scope's steps are coarser than twice the noise: rounding then does not average out."""
        return self.u_v < 0.5 * self.rounding_v

    @property
    def slow_v(self) -> float:
        """u (V) of a mean of n samples, times sqrt(n), for many samples."""
        return self.innovation_v / max(1.0 - float(np.sum(self.weights)), 0.05)

    def whiten(self, values: FloatArray) -> FloatArray:
        """Return ``values`` (n,) with what follows from the samples before taken off: (n - p,)."""
        order = len(self.weights)
        result = values[order:].copy()
        for k, weight in enumerate(self.weights, start=1):
            result -= weight * values[order - k : len(values) - k]
        return result


def rounding_step_v(values: FloatArray) -> float:
    """Return the scope's step (V): the smallest one between values, where they stand on a grid of it; else 0."""
    levels = np.unique(np.round(values, 12))
    gaps = np.diff(levels)
    if len(gaps) < 2 or len(levels) > 0.5 * len(values):
        return 0.0
    return float(np.min(gaps[gaps > 1e-3 * np.max(gaps)]))


def trace_noise(values: FloatArray, plateaus: Sequence[NDArray[np.int_]], rounding_v: float) -> TraceNoise:
    """Return the noise of ``values`` on ``plateaus`` (runs of row numbers), no less than rounding gives.

    Raises ``ReadingsError`` where the plateaus are too short to tell.
    """
    runs = [values[rows] - values[rows].mean() for rows in plateaus if len(rows) > 4 * _HIGHEST_ORDER]
    samples = sum(map(len, runs))
    if samples < _LEAST:
        raise ReadingsError(
            "plateaus too short to show the noise", found=samples, allowed=f"{_LEAST} samples outside of the edges",
            cure="save a longer trace: several rise times before and after each edge, or with shorter sample steps",
        )  # fmt: skip
    lags = range(_HIGHEST_ORDER + 1)
    raw = np.array([sum(float(r[k:] @ r[: len(r) - k]) / (samples - k * len(runs)) for r in runs) for k in lags])
    floor = rounding_v / 12.0**0.5
    if raw[0] <= floor**2 or raw[0] <= 0:
        u = max(floor, 1e-9 * float(np.ptp(values)), 1e-15)
        return TraceNoise(u, np.zeros(0), u, rounding_v, samples)
    spread, found = raw, _by_order(raw, samples)
    for _ in range(3):  # what the mean of each run took along: the variance of that mean
        slow = found[1] / max(1.0 - float(np.sum(found[0])), 0.05) ** 2
        spread = raw + min(slow * len(runs) / samples, 0.5 * float(raw[0]))
        found = _by_order(spread, samples)
    return TraceNoise(float(spread[0]) ** 0.5, found[0], found[1] ** 0.5, rounding_v, samples)


def _by_order(spread: FloatArray, samples: int) -> tuple[FloatArray, float]:
    """Return the weights of the best order, and the variance that they leave, from the autocovariances ``spread``."""
    best: tuple[float, FloatArray, float] | None = None
    for order in range(len(spread)):
        weights = linalg.solve_toeplitz(spread[:order], spread[1 : order + 1]) if order else np.zeros(0)
        left = max(float(spread[0] - weights @ spread[1 : order + 1]), 1e-6 * float(spread[0]))
        score = samples * np.log(left) + order * np.log(samples)
        if best is None or score < best[0]:
            best = (float(score), np.asarray(weights), left)
    assert best is not None
    return best[1], best[2]
