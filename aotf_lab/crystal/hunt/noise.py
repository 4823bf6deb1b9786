"""How the readings of a sweep scatter about its passbands: neighbours err together where a laser wanders.

The size and the memory of the wander come from the lit rows, as in a scan (``crystal/scan/likelihood.py``). A counter
that scatters moves the readings on a flank by its slope: that is no wander.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from aotf_lab.crystal.hunt.model import PER_PEAK, SHARED
from aotf_lab.crystal.hunt.newton import Known, Sweep, light_now, priors
from aotf_lab.crystal.scan.likelihood import likely_wander
from aotf_lab.estimation.problem import FloatArray

__all__ = ["HuntNoise", "hunt_noise"]

MEMORIES = (0.0, 1.0, 3.0, 10.0, 40.0)
"""Tried memories of the wander, in steps, as for a scan."""

_MOST_ROWS = 220
_LIT = 2.0
_FEWEST = 10


@dataclass(frozen=True)
class HuntNoise:
    """``spread_mw`` (n,) of rows by themselves; ``lit`` (m,) rows that err together and ``root`` (m, m), which makes
    them independent and of unit scatter. ``wander`` is the relative standard deviation of the light.
    """

    spread_mw: FloatArray
    lit: NDArray[np.intp]
    root: FloatArray
    wander: float


def hunt_noise(sweep: Sweep, known: Known) -> HuntNoise:
    """Return the scatter about the sweep's passbands."""
    table, values = sweep.model.table, sweep.values
    light = light_now(sweep.model, values)
    own = np.full(len(light), sweep.floor_scatter_mw)
    if table.u_power_mw is not None:
        own = np.maximum(own, np.quantile(table.u_power_mw, 0.1))
    by_values = sweep.model.gradient(values)
    if table.u_frequency_mhz is not None:
        own = np.hypot(own, by_values[:, SHARED::PER_PEAK].sum(axis=1) * table.u_frequency_mhz)
    lit = np.flatnonzero(sweep.wander * light > _LIT * own)
    alone = HuntNoise(sweep.spread_mw, lit[:0], np.zeros((0, 0)), sweep.wander if lit.size else 0.0)
    if lit.size < _FEWEST:
        return alone
    some = lit[np.argsort(-light[lit])[:_MOST_ROWS]]
    some.sort()
    before = priors(values, known, table, 60.0 * sweep.floor_scatter_mw)
    finite = np.isfinite(before.u)
    gradient = by_values[some] / own[some, None]
    jacobian = np.vstack([gradient, np.diag(1.0 / before.u)[finite]])
    pulls = ((before.values - values) / before.u)[finite]
    used = np.linalg.norm(gradient, axis=0) > 1e-3
    if len(jacobian) - used.sum() < _FEWEST:
        return alone
    found = likely_wander(
        np.concatenate([sweep.rest_mw[some] / own[some], pulls]),
        jacobian[:, used],
        [_together(light[some] / own[some], some, m) for m in MEMORIES],
        known=True,
    )
    covariance = np.diag(own[lit] ** 2)
    for variance, memory in zip(found.variances, MEMORIES, strict=True):
        covariance += variance * _together(light[lit], lit, memory)
    total = float(np.sum(found.variances)) ** 0.5
    root = solve_triangular(cholesky(covariance, lower=True), np.eye(lit.size), lower=True)
    return HuntNoise(np.hypot(own, max(total, 1e-6) * light), lit, root, total)


def _together(light: FloatArray, row: NDArray[np.intp], memory: float) -> FloatArray:
    """Return the covariance (m, m) of a wander of relative size 1."""
    if memory == 0.0:
        return np.diag(light**2)
    apart = np.abs(row[:, None] - row).astype(float)
    return np.asarray(np.outer(light, light) * np.exp(-apart / memory))
