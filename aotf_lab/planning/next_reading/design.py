"""What one more reading does to what is known, before it is made.

Unknowns z with covariance S; a reading shows a z + noise of variance v. Then the covariance becomes
S - S a a' S / (a' S a + v), whatever the reading will say (linear Bayes; Chaloner and Verdinelli, Stat. Sci. 10, 273
(1995); the formula is Sherman and Morrison's for one more row of information). The reading that leaves least variance
of one combination c z is the c-optimal one (Elfving, Ann. Math. Stat. 23, 255 (1952)).
"""

from __future__ import annotations

import numpy as np

from aotf_lab.estimation.problem import FloatArray

__all__ = ["after_each", "learnt", "learnt_exactly"]

_NOTHING = 1e-14


def learnt(covariance: FloatArray, row: FloatArray, variance: float) -> FloatArray:
    """Return the covariance (k, k) after a reading of ``row`` (k,) with noise of ``variance``; infinite: no reading.

    >>> learnt(np.eye(2), np.array([1.0, 0.0]), 1.0).round(3).tolist()
    [[0.5, 0.0], [0.0, 1.0]]
    """
    reach = covariance @ row
    total = float(row @ reach) + variance
    if not np.isfinite(total) or total <= 0.0:
        return covariance
    return np.asarray(covariance - np.outer(reach, reach) / total)


def learnt_exactly(covariance: FloatArray, rows: FloatArray, variances: FloatArray) -> FloatArray:
    """Return the covariance (k, k) after readings ``rows`` (n, k) with noise of ``variances`` (n,), zero allowed."""
    start = np.einsum("ij,jk,ik->i", rows, covariance, rows)
    for row, variance, before in zip(rows, variances, start, strict=True):
        left = float(row @ covariance @ row)
        if left > 1e-10 * before + _NOTHING * before:
            covariance = learnt(covariance, row, float(variance))
    return covariance


def after_each(covariance: FloatArray, wanted: FloatArray, rows: FloatArray, variances: FloatArray) -> FloatArray:
    """Return the variance (n, w) of each of ``wanted`` (w, k) after each one of the readings ``rows`` (n, k) alone."""
    reach = rows @ covariance
    total = np.einsum("ij,ij->i", reach, rows) + variances
    shared = reach @ wanted.T
    now = np.einsum("ij,jk,ik->i", wanted, covariance, wanted)
    gain = np.divide(shared**2, total[:, None], out=np.zeros_like(shared), where=total[:, None] > 0)
    return np.asarray(now[None, :] - gain)
