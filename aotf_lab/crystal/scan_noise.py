"""How the readings of a scan scatter: what the meter's accuracy says, and a laser that wanders.

The wander is a relative error of the light that forgets itself exponentially over some steps; it reaches the
readings through the meter's lag, so neighbours err together. Where it is sizeable, least squares with independent
readings would state the peak too surely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.crystal.scan_likelihood import likely_wander
from aotf_lab.crystal.scan_model import ScanModel
from aotf_lab.crystal.scan_table import ScanTable
from aotf_lab.estimation import Problem
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["ScanNoise", "scan_noise"]

MEMORIES = (0.0, 1.0, 3.0, 10.0, 40.0)
"""Tried memories of the wander, in steps; 0 is a scatter proportional to the reading itself."""

_FAR = 5.0
_FEW = 0.05


@dataclass(frozen=True)
class ScanNoise:
    """What makes the readings of a scan independent of each other and of unit scatter.

    ``scale`` (n,) is their standard uncertainty (mW) without wander and without that of the frequency, ``root``
    (n, n), or None, turns readings divided by ``scale`` into independent ones. ``wander`` is the relative standard
    deviation of the light, ``memory_steps`` how long it lasts.
    """

    scale: FloatArray
    root: FloatArray | None
    wander: float
    gain: float

    def whitened(self, values: FloatArray) -> FloatArray:
        """Return ``values`` (n,) in independent units."""
        scaled = values / self.scale
        return scaled if self.root is None else np.asarray(self.root @ scaled)


def scan_noise(table: ScanTable, model: ScanModel, problem: Problem, values: FloatArray) -> ScanNoise:
    """Return the scatter about a first fit with parameters ``values``.

    It is judged without the few readings that stand far out; those keep their place in the fit, and its checks.
    """
    f = table.frequency_mhz
    known = table.u_power_mw is not None
    residual = table.power_mw - model(f, *values)
    light = table.light * model.signal(f, *values)
    shown = model.trailing(light, values)
    stated = np.full(len(f), _robust_scale(residual, shown)) if table.u_power_mw is None else table.u_power_mw
    scale = np.hypot(stated, table.u_light * shown)
    whole = scale
    if table.u_frequency_mhz is not None:
        whole = np.hypot(scale, problem.slope(f, values) * table.u_frequency_mhz)
    jacobian = differences(lambda v: model(f, *v), values, problem.steps(values)) / whole[:, None]
    priors, pulls = _prior_rows(problem, values)
    wanders = _wanders(table, model, values, light, shown)
    kept = _unsuspected(residual, whole, shown)
    found = likely_wander(
        np.concatenate([(residual / whole)[kept], pulls]),
        np.vstack([jacobian[kept], priors]),
        [(w / np.outer(whole, whole))[np.ix_(kept, kept)] for w in wanders],
        known,
    )
    scale = scale * found.level
    covariance = sum(v * w for v, w in zip(found.variances, wanders, strict=True)) / np.outer(scale, scale)
    eigenvalues, vectors = np.linalg.eigh(covariance)
    root = (vectors / np.sqrt(1.0 + np.maximum(eigenvalues, 0.0))) @ vectors.T
    return ScanNoise(scale, root, found.size, found.gain)


def _robust_scale(residual: FloatArray, shown: FloatArray) -> float:
    """Return a scatter (mW) that a few readings cannot move."""
    scale = 1.4826 * float(np.median(np.abs(residual)))
    return scale if scale > 0 else 1e-6 * float(np.max(np.abs(shown)))


def _wanders(
    table: ScanTable, model: ScanModel, values: FloatArray, light: FloatArray, shown: FloatArray
) -> list[FloatArray]:
    """Return the covariance (n, n) in mW^2 that a relative wander of 1 gives, for each of ``MEMORIES``."""
    trail = model.trailing(np.eye(len(light)), values) * light
    apart = np.abs(table.clock[:, None] - table.clock)
    return [
        np.diag(shown**2) if memory == 0 else trail @ np.exp(-apart / memory) @ trail.T for memory in MEMORIES
    ]


def _prior_rows(problem: Problem, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    known = [(k, p.prior) for k, p in enumerate(problem.parameters) if p.prior is not None and p.prior.s > 0]
    rows, pulls = np.zeros((len(known), len(values))), np.zeros(len(known))
    for i, (k, prior) in enumerate(known):
        rows[i, k], pulls[i] = 1.0 / prior.s, (prior.n - values[k]) / prior.s
    return rows, pulls


def _unsuspected(residual: FloatArray, scale: FloatArray, shown: FloatArray) -> NDArray[np.intp]:
    """Return the rows to judge the scatter by: all but a few that stand far out, or all when many would."""
    calm = max(1.0, 1.4826 * float(np.median(np.abs(residual / scale))))
    far = np.abs(residual) > _FAR * np.hypot(calm * scale, 0.01 * shown)
    return np.flatnonzero(~far) if far.sum() <= max(1, _FEW * len(far)) else np.arange(len(far))
