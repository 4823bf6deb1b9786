"""How large a laser's wander the scatter of a scan asks for.

The size of greatest restricted likelihood: Patterson & Thompson, Biometrika 58, 545 (1971).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import eigh

from aotf_lab.estimation.problem import FloatArray

__all__ = ["Wander", "likely_wander"]

_SIZES = np.geomspace(3e-4, 3.0, 49)
LARGEST = 0.1
"""Largest relative wander that is thought of."""

NONE = 0.5
"""How likely it is beforehand that the light does not wander at all."""


@dataclass(frozen=True)
class Wander:
    """The scatter that the residuals ask for: ``level`` squared times the stated variances, plus a wander.

    ``variances`` are the mean squared relative standard deviations of the light of each kind tried, ``size`` the
    likeliest such deviation, ``gain`` twice the rise of the restricted log likelihood that it brings.
    """

    level: float
    variances: tuple[float, ...]
    size: float
    gain: float


def likely_wander(residual: FloatArray, jacobian: FloatArray, wanders: Sequence[FloatArray], known: bool) -> Wander:
    """Return the mean scatter over all sizes and kinds of wander, weighted by their restricted likelihood.

    ``residual`` (n + m,) and ``jacobian`` (n + m, p) hold n standardised readings, then m standardised priors;
    ``wanders`` are the covariances (n, n) of the standardised readings that a relative wander of 1 would give. Every
    kind and, up to ``LARGEST``, every size is equally likely beforehand. When ``known`` is false the readings' own
    scale is unknown by a factor, which is estimated too; else ``level`` is 1.
    """
    total, p = jacobian.shape
    basis = np.linalg.qr(jacobian, mode="complete")[0][:, p:]
    z = basis.T @ residual
    plain, plain_level = _minus_two_log(np.zeros(1), np.ones(total - p), z**2, known)
    score, level = np.empty((len(wanders), len(_SIZES))), np.empty((len(wanders), len(_SIZES)))
    for kind, wander in enumerate(wanders):
        upper = basis[: len(wander)]
        eigenvalues, vectors = eigh(upper.T @ wander @ upper, driver="evr")
        squares = (vectors.T @ z) ** 2
        score[kind], level[kind] = _minus_two_log(_SIZES**2, np.maximum(eigenvalues, 0.0), squares, known)
    allowed = _SIZES * level <= LARGEST
    score = np.where(allowed, score, np.inf)
    before = _SIZES * allowed
    before *= (1.0 - NONE) / max(float(before.sum()), 1e-300)
    lowest = min(float(score.min()), float(plain[0]))
    weight = before * np.exp(-0.5 * (score - lowest))
    none = NONE * float(np.exp(-0.5 * (plain[0] - lowest)))
    whole = none + float(weight.sum())
    variances = tuple(float(v) for v in np.sum(weight * level**2 * _SIZES**2, axis=1) / whole)
    mean_level = (none * float(plain_level[0]) ** 2 + float(np.sum(weight * level**2))) / whole
    likeliest = divmod(int(np.argmin(score)), len(_SIZES))
    size = float(_SIZES[likeliest[1]] * level[likeliest]) if float(score.min()) < float(plain[0]) else 0.0
    return Wander(mean_level**0.5, variances, size, float(plain[0]) - lowest)


def _minus_two_log(
    variance: FloatArray, eigenvalues: FloatArray, squares: FloatArray, known: bool
) -> tuple[FloatArray, FloatArray]:
    """Return -2 log restricted likelihood for each relative ``variance`` (k,), and the factor (k,) of the scale."""
    spread = 1.0 + variance[:, None] * eigenvalues
    rest = np.sum(squares / spread, axis=1)
    logs = np.sum(np.log(spread), axis=1)
    if known:
        return rest + logs, np.ones_like(rest)
    level = np.maximum(rest / len(squares), 1e-300)
    return len(squares) * np.log(level) + logs, np.sqrt(level)
