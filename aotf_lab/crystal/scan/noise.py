"""How the readings of a scan scatter: the meters' accuracy, and a laser that wanders.

The wander is a relative error of the light that forgets itself exponentially over some steps. It and the scatter of
the frequency reach the readings through the meter's lag, so neighbours err together. Where either is sizeable, least
squares with independent readings would state the peak too surely.

The scatter of the frequency counts by the slope of the first fit. Were the slope that of the trial itself, the fit
would lean towards steep curves, which excuse their own misfit. What the fixed slope costs is of second order in
u(f)/FWHM.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from aotf_lab.crystal.scan.likelihood import likely_wander
from aotf_lab.crystal.scan.model import ScanModel
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation import Problem
from aotf_lab.estimation.problem import FloatArray

__all__ = ["ScanNoise", "scan_noise"]

MEMORIES = (0.0, 1.0, 3.0, 10.0, 40.0)
"""Tried memories of the wander, in steps; 0 is a scatter proportional to the reading itself."""

LEAST = 1e-4
"""Share of the first fit below which no power is looked for on a log scale."""

_FAR = 5.0
_FEW = 0.05
_ENOUGH = 8


@dataclass(frozen=True)
class ScanNoise:
    """What makes the readings of a scan independent of each other and of unit scatter.

    ``u_mw`` (n,) is the standard uncertainty of each, all causes together, and ``root`` (n, n) turns readings into
    independent ones. ``wander`` is the relative standard deviation of the light, of whatever memory, ``gain`` twice the
    rise of the restricted log likelihood that the likeliest wander brings. ``about_mw`` (n,) is the first fit, for a
    scan logged in dB.
    """

    u_mw: FloatArray
    root: FloatArray
    wander: float
    gain: float
    about_mw: FloatArray | None = None

    def seen(self, power_mw: FloatArray) -> FloatArray:
        """Return powers (n,) in independent units; of a log scale their ratio to ``about_mw`` counts, not their gap."""
        about = self.about_mw
        if about is None:
            return self.whitened(power_mw)
        return self.whitened(about * np.log(np.maximum(power_mw, LEAST * about) / about))

    def whitened(self, values: FloatArray) -> FloatArray:
        """Return ``values`` (n,) or (n, k) in independent units."""
        return np.asarray(self.root @ values)


def scan_noise(
    table: ScanTable, model: ScanModel, problem: Problem, values: FloatArray, gradient: FloatArray
) -> ScanNoise:
    """Return the scatter about a first fit with parameters ``values`` and the model's ``gradient`` (n, p) by them.

    It is judged without the few readings that stand far out; those keep their place in the fit, and its checks.
    """
    expected = model(table.frequency_mhz, *values)
    about = np.maximum(expected, LEAST * table.power_mw.max()) if table.log else None
    residual = table.power_mw - expected if about is None else about * np.log(table.power_mw / about)
    light = table.light * model.signal(table.frequency_mhz, *values)
    shown = model.trailing(light, values)
    trail = model.trailing(np.eye(len(light)), values)
    stated = _stated(table, model, values, _scale(table, residual, shown, about), shown, trail)
    apart = np.abs(table.clock[:, None] - table.clock)
    through = trail * light
    wanders = [np.diag(shown**2) if m == 0 else through @ np.exp(-apart / m) @ through.T for m in MEMORIES]
    kept = _unsuspected(residual, np.sqrt(np.diag(stated)), shown)
    priors = problem.prior_rows
    root = _inverse_root(stated[np.ix_(kept, kept)])
    found = likely_wander(
        np.concatenate([root @ residual[kept], priors @ (problem.prior_values - values)]),
        np.vstack([root @ gradient[kept], priors]),
        [root @ w[np.ix_(kept, kept)] @ root.T for w in wanders],
        table.u_power_mw is not None,
    )
    covariance = found.level**2 * stated + np.tensordot(found.variances, np.array(wanders), 1)
    wander = sum(found.variances) ** 0.5
    return ScanNoise(np.sqrt(np.diag(covariance)), _inverse_root(covariance), wander, found.gain, about)


def _scale(table: ScanTable, residual: FloatArray, shown: FloatArray, about: FloatArray | None) -> FloatArray:
    """Return the scatter (n,) of the power meter in mW: as stated, or robust, of each of its ranges or in dB."""
    u, rows = table.u_power_mw, len(shown)
    if about is not None:
        return about * (_robust_scale(residual / about, shown / about) if u is None else u / table.power_mw)
    if u is not None:
        return u
    scale = np.full(rows, _robust_scale(residual, shown))
    ranges = np.zeros(rows, dtype=np.intp) if table.ranges is None else table.ranges
    for k in range(int(ranges.max()) + 1 if ranges.any() else 0):
        inside = ranges == k
        if inside.sum() >= _ENOUGH:
            scale[inside] = _robust_scale(residual[inside], shown[inside])
    return scale


def _stated(
    table: ScanTable, model: ScanModel, values: FloatArray, scale: FloatArray, shown: FloatArray, trail: FloatArray
) -> FloatArray:
    """Return the covariance (n, n) in mW^2 by the meters' accuracy, the power meter's being ``scale`` (n,)."""
    covariance = np.diag(scale**2 + (table.u_light * shown) ** 2)
    if table.u_frequency_mhz is None:
        return covariance
    step = 1e-4 * values[1]
    f = table.frequency_mhz
    slope = table.light * (model.signal(f + step, *values) - model.signal(f - step, *values)) / (2 * step)
    through = trail * (slope * table.u_frequency_mhz)
    return np.asarray(covariance + through @ through.T)


def _robust_scale(residual: FloatArray, shown: FloatArray) -> float:
    """Return a scatter (mW) that a few readings cannot move."""
    scale = 1.4826 * float(np.median(np.abs(residual)))
    return scale if scale > 0 else 1e-6 * float(np.max(np.abs(shown)))


def _inverse_root(covariance: FloatArray) -> FloatArray:
    """Return the symmetric inverse root of the correlation, over the standard deviations: row k is still reading k."""
    scale = np.sqrt(np.diag(covariance))
    if np.count_nonzero(covariance) == len(scale):
        return np.diag(1.0 / scale)
    eigenvalues, vectors = eigh(covariance / np.outer(scale, scale), driver="evr")
    return np.asarray((vectors / np.sqrt(np.maximum(eigenvalues, 1e-12))) @ vectors.T / scale)


def _unsuspected(residual: FloatArray, scale: FloatArray, shown: FloatArray) -> NDArray[np.intp]:
    """Return the rows to judge the scatter by: all but a few that stand far out, or all when many would."""
    calm = max(1.0, 1.4826 * float(np.median(np.abs(residual / scale))))
    far = np.abs(residual) > _FAR * np.hypot(calm * scale, 0.01 * shown)
    return np.flatnonzero(~far) if far.sum() <= max(1, _FEW * len(far)) else np.arange(len(far))
