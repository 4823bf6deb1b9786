"""Fit the size of one cause to today's readings: by the likelihood, on a grid that closes in."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.fault_tree.evidence import Evidence, Moments
from aotf_lab.record.fault_tree.known import Cause

__all__ = ["Fitted", "fitted", "foretold"]

_GRID = 31
_CLOSER = 11


@dataclass(frozen=True, eq=False)
class Fitted:
    """A cause with the size that fits the readings best.

    ``size`` and ``u_size`` are in the unit of its change (``u_size`` infinite where the readings do not tell it),
    ``change`` the branch taken. ``two_ln`` is -2 ln of the likelihood, up to a constant that all causes share;
    ``chi2`` its part from the readings' distances. ``z`` name -> (reading less what the cause makes of it) over the
    standard uncertainty of that difference; ``expected`` name -> what the cause makes of it.
    """

    cause: Cause
    change: str
    size: float
    u_size: float
    two_ln: float
    chi2: float
    expected: dict[str, float]
    z: dict[str, float]
    moments: Moments = field(repr=False)

    @property
    def name(self) -> str:
        """What happened, in words."""
        return self.cause.name(self.size)

    @property
    def worst(self) -> str:
        """The reading that fits this cause least."""
        return max(self.z, key=lambda n: abs(self.z[n]))


def _likelihood(evidence: Evidence, moments: Moments) -> tuple[FloatArray, FloatArray]:
    """Return -2 ln L (g,) and its chi-square (g,)."""
    left = evidence.values - moments.mean
    scale = np.sqrt(np.diagonal(moments.covariance, axis1=1, axis2=2))
    factor = np.linalg.cholesky(moments.covariance / (scale[:, :, None] * scale[:, None, :]))
    white = np.linalg.solve(factor, (left / scale)[:, :, None])[:, :, 0]
    chi2 = np.sum(white**2, axis=1)
    volume = 2.0 * np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)) + np.log(scale), axis=1)
    return chi2 + volume, chi2


def fitted(evidence: Evidence, cause: Cause) -> Fitted:
    """Return the cause with the size that makes today's readings likeliest."""
    if not cause.fits:
        return _at(evidence, cause, cause.branches[0] if cause.branches else "", np.array([cause.high]), 0.0)
    return min((_branch(evidence, cause, change) for change in cause.branches), key=lambda f: f.two_ln)


def _branch(evidence: Evidence, cause: Cause, change: str) -> Fitted:
    low, high = cause.low, cause.high
    if low < 0 < high:
        half = np.geomspace(3e-3, 1.0, _GRID // 2)
        grid = np.concatenate([low * half[::-1], [0.0], high * half])
    else:
        grid = np.linspace(low, high, _GRID)
    for _ in range(6):
        two_ln, _ = _likelihood(evidence, evidence.moments(change, grid))
        best = int(np.argmin(two_ln))
        if best in (0, len(grid) - 1):
            size, u, width = float(grid[best]), np.inf, 0.0
        else:
            around = slice(best - 1, best + 2)
            size, u = _vertex(grid[around], two_ln[around])
            width = float(grid[best + 1] - grid[best - 1])
        if 0.0 < width < u:
            break
        grid = np.linspace(grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)], _CLOSER)
    return _at(evidence, cause, change, np.array([size]), u)


def _vertex(x: FloatArray, y: FloatArray) -> tuple[float, float]:
    """Return where the parabola through three points is lowest, and where it is higher by one, as a distance."""
    slopes = np.diff(y) / np.diff(x)
    curvature = float(2.0 * (slopes[1] - slopes[0]) / (x[2] - x[0]))
    if not curvature > 0:
        return float(x[1]), np.inf
    lowest = float(0.5 * (x[0] + x[1]) - slopes[0] / curvature)
    return min(max(lowest, float(x[0])), float(x[2])), float((2.0 / curvature) ** 0.5)


def _at(evidence: Evidence, cause: Cause, change: str, size: FloatArray, u: float) -> Fitted:
    moments = evidence.settled(change, float(size[0]))
    two_ln, chi2 = _likelihood(evidence, moments)
    z = (evidence.values - moments.mean[0]) / np.sqrt(np.diagonal(moments.covariance[0]))
    return Fitted(
        cause, change, float(size[0]), u, float(two_ln[0]), float(chi2[0]),
        dict(zip(evidence.names, map(float, moments.mean[0]), strict=True)),
        dict(zip(evidence.names, map(float, z), strict=True)), moments,
    )  # fmt: skip


def foretold(evidence: Evidence, found: Fitted, name: str) -> float:
    """Return what one more reading, ``name``, would show if ``found`` were the cause, given all that was read.

    The conditional mean of the joint normal distribution of that reading and today's.
    """
    wider = evidence.with_reading(name, 0.0, 1e-9)
    moments = wider.moments(found.change, np.array([found.size]))
    mean, whole = moments.mean[0], moments.covariance[0]
    gain = np.linalg.solve(whole[:-1, :-1], whole[:-1, -1])
    return float(mean[-1] + gain @ (evidence.values - mean[:-1]))
