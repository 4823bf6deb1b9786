"""A neighbour that hides in the flank of every line at one separation: all of them tried at once.

One by one such neighbours are taken for a lean, a lag or a wander of the light that all peaks share.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aotf_lab.crystal.hunt.model import LAG, PER_PEAK, SHARED, SKEW
from aotf_lab.crystal.hunt.newton import Known, Sweep, gauss_newton
from aotf_lab.crystal.hunt.solve import WORTH, deviance, more_peaks, pruned, refitted
from aotf_lab.estimation.problem import FloatArray

__all__ = ["with_common_neighbours"]

POOR_WANDER = 0.035
"""Relative misfit of the light above which such neighbours are looked for."""

_SEPARATIONS = (-3.0, -2.4, -1.9, -1.5, -1.15, 1.15, 1.5, 1.9, 2.4, 3.0)
_LAGS = (0.05, 1.0)
_SHARE, _START_WANDER = 0.15, 0.03


def with_common_neighbours(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep with a neighbour beside each line where that describes it much better, else as it is."""
    if sweep.wander < POOR_WANDER or len(sweep.values) == SHARED:
        return sweep
    lags = (known.lag[0],) if known.lag is not None else (*_LAGS, float(sweep.values[LAG]))
    poor = replace(sweep, wander=_START_WANDER)
    trials = []
    for separation in _SEPARATIONS:
        for lag in lags:
            start = replace(poor, values=_start(poor, separation, lag))
            trials.append(replace(start, values=gauss_newton(start, known, start.spread_mw, 6)))
    best = sorted(trials, key=lambda s: deviance(s, known))[:2]
    fitted = min((pruned(refitted(s, known), known) for s in best), key=lambda s: deviance(s, known))
    if deviance(fitted, known) > deviance(sweep, known) - WORTH:
        return sweep
    return more_peaks(fitted, known)


def _start(sweep: Sweep, separation: float, lag: float) -> FloatArray:
    """Return parameters with a neighbour ``separation`` FWHM off each of the higher peaks."""
    values = sweep.values.copy()
    values[LAG], values[SKEW] = lag, 0.0
    blocks = values[SHARED:].reshape(-1, PER_PEAK).copy()
    high = blocks[blocks[:, 2] > max(0.1 * float(np.median(blocks[:, 2])), 40.0 * sweep.floor_scatter_mw)].copy()
    width = float(np.median(high[:, 1])) if len(high) else float(np.median(blocks[:, 1]))
    high[:, 0] += separation * np.exp(width)
    high[:, 1], high[:, 3] = width, 0.5
    high[:, 2] *= _SHARE
    return np.concatenate([values[:SHARED], blocks.ravel(), high.ravel()])
