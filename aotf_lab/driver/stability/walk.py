"""Least squares under noise that is partly white and partly a random walk.

A log of frequency scatters from reading to reading (white, standard deviation s) and wanders slowly (a random walk of
w per root second): the model of IEEE Std 1139 with its white and its random-walk part. With r = (w / s)^2 the
covariance over s^2 is that of the white part plus r min(distance to the end, distance to the end). Changes from
reading to reading, with the last reading itself, then have a covariance of three diagonals, so that whitening costs a
few operations a reading, at even and uneven times alike. The walk is counted from the last reading: a constant in the
model is the level there.

What r is, the readings tell only roughly. Every result is a mean over r on a grid, weighted by the restricted
likelihood (H. D. Patterson and R. Thompson, Biometrika 58, 545 (1971)) and, beforehand, evenly in the standard
deviation of the walk (A. Gelman, Bayesian Analysis 1, 515 (2006)); the doubt about r is then part of the uncertainty.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special
from scipy.linalg import cholesky_banded
from scipy.linalg.blas import dtbsv

from aotf_lab.estimation.problem import FloatArray

__all__ = ["Step", "WalkFit", "Whitener", "least_squares", "mixed", "over_ratios", "ratios", "solved", "walk_fit"]

_STEP = 10.0**0.5
"""Step of the grid of r."""
_NEGLIGIBLE = 0.01
"""A walk whose variance over the log is this share of the variance of the mean of all readings moves nothing."""
_LARGEST = 100.0
"""Largest variance of the walk from reading to reading, over the white variance."""
_COARSE = 4
"""Every so many of the ratios are tried first."""
_FAR = 10.0
"""Logarithm of the ratio of weights at which the neighbours of a ratio are not tried any more."""
_LIGHT = 1e-4
"""Weight below which a point of the grid is left out."""
_NORMAL = 1.96


@dataclass(frozen=True)
class Whitener:
    """Makes columns over the readings independent with unit variance, where the white part has variance 1.

    ``log_det`` is the logarithm of the covariance's determinant.
    """

    band: FloatArray
    log_det: float

    @classmethod
    def of(cls, time_s: FloatArray, ratio: float) -> Whitener:
        """Return the whitener for readings at rising ``time_s`` (n,) and ``ratio`` r (1/s)."""
        n = len(time_s)
        covariance = np.zeros((2, n))
        covariance[0] = np.append(2.0 + ratio * np.diff(time_s), 1.0)
        covariance[1, : n - 2] = -1.0
        covariance[1, n - 2] = 1.0
        band = np.asfortranarray(cholesky_banded(covariance, lower=True))
        return cls(band, 2.0 * float(np.sum(np.log(band[0]))))

    def __call__(self, columns: FloatArray) -> FloatArray:
        """Return ``columns`` (n,) or (n, p), whitened."""
        changes = np.concatenate([np.diff(columns, axis=0), columns[-1:]])
        if changes.ndim == 1:
            return np.asarray(dtbsv(1, self.band, changes, lower=1))
        white = np.empty_like(changes, order="F")
        for k, column in enumerate(changes.T):
            white[:, k] = dtbsv(1, self.band, column, lower=1)
        return white

    def white_part(self, residual: FloatArray) -> FloatArray:
        """Return what of a residual (n,) is white noise, as far as the readings tell; the rest is the walk."""
        n = len(residual)
        z = dtbsv(1, self.band, self(residual), lower=1, trans=1)
        back = np.zeros(n)
        back[:-1] -= z[:-1]
        back[1:] += z[:-1]
        back[-1] += z[-1]
        return back


@dataclass(frozen=True)
class Step:
    """The fit at one ``ratio``: ``values`` (p,), their ``covariance`` (p, p) at the white ``variance`` found there.

    ``likelihood`` is the largest one, ``evidence`` the one averaged over all values with a flat prior and over the
    white variance with a flat one of its logarithm; both are logarithms. ``residual`` (n,) is whitened, ``leverage``
    (n,) with it.
    """

    ratio: float
    values: FloatArray
    covariance: FloatArray
    variance: float
    likelihood: float
    evidence: float
    residual: FloatArray
    leverage: FloatArray


@dataclass(frozen=True)
class WalkFit:
    """What all ratios say together.

    ``values`` (p,) and ``covariance`` (p, p); ``dof`` the degrees of freedom with which Student's t reaches as far as
    the mixture over the grid, in the value where it reaches farthest; ``jitter`` the white standard deviation of one
    reading, ``walk`` that of the wander after one second; ``evidence`` the logarithm of the readings' probability;
    ``best`` the most likely step, ``white`` the one whose walk is negligible.
    """

    values: FloatArray
    covariance: FloatArray
    dof: float
    jitter: float
    walk: float
    evidence: float
    best: Step
    white: Step

    @property
    def likelihood(self) -> float:
        """Logarithm of the largest likelihood."""
        return self.best.likelihood


def ratios(time_s: FloatArray) -> FloatArray:
    """Return the grid of r (1/s) for readings at ``time_s`` (n,): from a walk that moves nothing to one alone."""
    n, step = len(time_s), float(np.median(np.diff(time_s)))
    count = int(np.ceil(np.log(_LARGEST * n**2 / _NEGLIGIBLE) / np.log(_STEP)))
    return np.asarray(_NEGLIGIBLE / n**2 * _STEP ** np.arange(count + 1) / step)


def solved(rows: FloatArray, z: FloatArray) -> FloatArray:
    """Return the least-squares solution of ``rows`` (n, p) for ``z`` (n,) or (n, k)."""
    q, r = np.linalg.qr(rows)
    return np.asarray(np.linalg.solve(r, q.T @ z))


def least_squares(whitener: Whitener, ratio: float, values: FloatArray, rows: FloatArray, residual: FloatArray) -> Step:
    """Return the step with ``values`` at their minimum; ``rows`` (n, p) and ``residual`` (n,) are whitened."""
    n, p = rows.shape
    dof = n - p
    norms = np.linalg.norm(rows, axis=0)
    q, r = np.linalg.qr(rows / norms)
    total = max(float(residual @ residual), 1e-300)
    half = np.linalg.solve(r, np.eye(p)) / norms[:, None]
    spread = 2.0 * float(np.sum(np.log(np.abs(np.diag(r)) * norms)))
    likelihood = -0.5 * (n * np.log(total / n) + whitener.log_det)
    evidence = special.gammaln(dof / 2) - 0.5 * (dof * np.log(np.pi * total) + whitener.log_det + spread)
    return Step(
        ratio, values, total / dof * half @ half.T, total / dof, float(likelihood), float(evidence), residual,
        np.asarray(np.sum(q**2, axis=1)),
    )  # fmt: skip


def mixed(steps: Sequence[Step], grid: FloatArray) -> WalkFit:
    """Return what ``steps``, at some of the ratios of ``grid`` (m,), say together; the others weigh nothing."""
    prior = np.array([s.ratio for s in steps]) ** 0.5 / np.sum(grid**0.5)
    evidence = np.array([s.evidence for s in steps]) + np.log(prior)
    total = float(special.logsumexp(evidence))
    weight = np.exp(evidence - total)
    kept = [(float(w), s) for w, s in zip(weight, steps, strict=True) if w > _LIGHT]
    sum_of_weights = sum(w for w, _ in kept)
    kept = [(w / sum_of_weights, s) for w, s in kept]
    values = np.asarray(sum(w * s.values for w, s in kept))
    covariance = np.asarray(sum(w * (s.covariance + np.outer(s.values - values, s.values - values)) for w, s in kept))
    jitter, walk = sum(w * s.variance for w, s in kept), sum(w * s.variance * s.ratio for w, s in kept)
    best = max(steps, key=lambda s: s.likelihood)
    dof = min(_dof(kept, values, covariance), float(len(best.residual) - len(values)))
    return WalkFit(values, covariance, dof, jitter**0.5, walk**0.5, total, best, steps[0])


def _dof(kept: list[tuple[float, Step]], values: FloatArray, covariance: FloatArray) -> float:
    """Return the degrees of freedom whose t reaches from ``values`` as far as 95 % of the mixture do."""
    u = np.sqrt(np.diag(covariance))
    weight = np.array([w for w, _ in kept])
    centre = np.array([(s.values - values) / u for _, s in kept])
    width = np.array([np.sqrt(np.diag(s.covariance)) / u for _, s in kept])
    low, high = np.full(len(u), 1.0), np.full(len(u), 10.0)
    for _ in range(30):
        k = (low + high) / 2
        inside = weight @ (special.ndtr((k - centre) / width) - special.ndtr((-k - centre) / width))
        low, high = np.where(inside < 0.95, k, low), np.where(inside < 0.95, high, k)
    reach = float(np.max(high))
    dof = np.geomspace(1.0, 1e5, 400)
    return float(dof[int(np.argmax(special.stdtrit(dof, 0.975) <= reach))]) if reach > _NORMAL else float(dof[-1])


def over_ratios(time_s: FloatArray, step_at: Callable[[float], Step]) -> WalkFit:
    """Return what all ratios for readings at ``time_s`` (n,) say together; ``step_at`` fits at one of them.

    The grid is filled in only where it may weigh: every fourth ratio first, then the neighbours of those that do.
    """
    grid = ratios(time_s)
    done = {k: step_at(float(grid[k])) for k in range(0, len(grid), _COARSE)}
    for reach in (2, 1):
        weight = {k: s.evidence + 0.5 * float(np.log(grid[k])) for k, s in done.items()}
        near = [k for k, w in weight.items() if w > max(weight.values()) - _FAR * reach]
        for k in {k + side for k in near for side in (-reach, reach)} - set(done):
            if 0 <= k < len(grid):
                done[k] = step_at(float(grid[k]))
    return mixed([done[k] for k in sorted(done)], grid)


def walk_fit(time_s: FloatArray, y: FloatArray, columns: FloatArray) -> WalkFit:
    """Return the fit of ``columns`` (n, p) to ``y`` (n,) at rising ``time_s`` (n,) (s).

    >>> t = np.arange(6.0)
    >>> fit = walk_fit(t, 3.0 + np.array([0.1, -0.1, 0.0, 0.1, -0.1, 0.0]), np.ones((6, 1)))
    >>> bool(abs(fit.values[0] - 3.0) < 0.05)
    True
    """

    def step_at(ratio: float) -> Step:
        whitener = Whitener.of(time_s, ratio)
        rows, z = whitener(columns), whitener(y)
        values = solved(rows, z)
        return least_squares(whitener, ratio, values, rows, z - rows @ values)

    return over_ratios(time_s, step_at)
