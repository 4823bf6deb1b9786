"""Exponential terms under white and wandering noise: least squares for their time constants and all linear terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.stability.walk import Step, WalkFit, Whitener, least_squares, over_ratios, solved
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Terms", "decays", "fit_exponentials"]

_TRIALS = 24
_LONGEST = (1.0, 1.0, 1.0 / 3.0)
"""Longest time constant tried for 0, 1, 2 exponentials, over the span of the log: a longer one looks like a drift,
and beside another already one of a third of it does."""
_SHORTEST = 1.5
"""Shortest time constant tried, over the median step."""
_APART = 1.5
"""Least ratio of two time constants."""
_ITERATIONS = 40


@dataclass(frozen=True)
class Terms:
    """The linear terms beside the exponentials, columns (n, m), at rising ``time_s`` (n,) from the first reading."""

    time_s: FloatArray
    frequency_mhz: FloatArray
    columns: FloatArray

    def bounds_s(self, count: int) -> tuple[float, float]:
        """Return the shortest and longest time constant (s) that these readings can show of ``count`` exponentials."""
        return _SHORTEST * float(np.median(np.diff(self.time_s))), _LONGEST[count] * float(np.ptp(self.time_s))


def decays(time_s: FloatArray, log_tau: FloatArray) -> FloatArray:
    """Return exp(-t / tau) as columns (n, k); ``log_tau`` (k,) is the logarithm of tau in s.

    >>> decays(np.array([0.0, 60.0]), np.log([60.0])).round(3).tolist()
    [[1.0], [0.368]]
    """
    return np.exp(-time_s[:, None] / np.exp(log_tau))


def fit_exponentials(terms: Terms, count: int) -> WalkFit:
    """Return the fit with ``count`` exponentials (0, 1 or 2): the linear terms, the amplitudes, the log time constants.

    Amplitudes are those at the first reading (MHz), shortest time constant first. The minimum is searched for anew at
    every ratio of wander to white noise, from a scan of time constants (variable projection: G. H. Golub and
    V. Pereyra, SIAM J. Numer. Anal. 10, 413 (1973)).
    """

    def step_at(ratio: float) -> Step:
        whitener = Whitener.of(terms.time_s, ratio)
        fixed, z = whitener(terms.columns), whitener(terms.frequency_mhz - terms.frequency_mhz[-1])
        start = _scan(terms, whitener, fixed, z, count)
        step = _descend(terms, whitener, ratio, fixed, z, start)
        step.values[0] += terms.frequency_mhz[-1]
        return step

    return over_ratios(terms.time_s, step_at)


def _trials(terms: Terms, count: int) -> FloatArray:
    low, high = terms.bounds_s(count)
    return np.linspace(np.log(low), np.log(high), _TRIALS)


def _scan(terms: Terms, whitener: Whitener, fixed: FloatArray, z: FloatArray, count: int) -> FloatArray:
    """Return the log time constants (count,) of a grid that leave the smallest sum of squares."""
    if count == 0:
        return np.zeros(0)
    trials = _trials(terms, count)
    q = np.linalg.qr(fixed)[0]
    columns = whitener(decays(terms.time_s, trials))
    columns -= q @ (q.T @ columns)
    rest = z - q @ (q.T @ z)
    gram, pull = columns.T @ columns, columns.T @ rest
    own = np.diag(gram).copy()
    own[own <= 1e-12 * own.max()] = np.inf
    if count == 1:
        return trials[[int(np.argmax(pull**2 / own))]]
    det = np.outer(own, own) - gram**2
    gain = (np.outer(pull**2, own) + np.outer(own, pull**2) - 2 * gram * np.outer(pull, pull)) / np.where(
        det > 1e-9 * np.outer(own, own), det, np.inf
    )
    gain[np.abs(trials[:, None] - trials) < np.log(_APART)] = -np.inf
    a, b = np.unravel_index(int(np.argmax(np.nan_to_num(gain, nan=-np.inf))), gain.shape)
    return np.asarray(trials[np.sort([a, b])])


def _descend(
    terms: Terms, whitener: Whitener, ratio: float, fixed: FloatArray, z: FloatArray, log_tau: FloatArray
) -> Step:
    """Go down from ``log_tau`` by damped Gauss-Newton steps with the linear terms at their best."""
    low, high = np.log(terms.bounds_s(len(log_tau)))
    damping = 1e-4
    linear, rows, residual = _solved(terms, whitener, fixed, z, log_tau)
    for _ in range(_ITERATIONS if len(log_tau) else 0):
        slopes = rows[:, -len(log_tau) :]
        outside = slopes - rows[:, : -len(log_tau)] @ solved(rows[:, : -len(log_tau)], slopes)
        normal = outside.T @ outside
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-300), outside.T @ residual)
        trial = np.clip(log_tau + np.clip(move, -1.0, 1.0), low, high)
        if len(trial) == 2 and trial[1] - trial[0] < np.log(_APART):
            trial = np.clip(trial.mean() + np.log(_APART) * np.array([-0.5, 0.5]), low, high)
        better = _solved(terms, whitener, fixed, z, trial)
        gained = float(residual @ residual - better[2] @ better[2])
        if gained >= 0:
            moved = float(np.max(np.abs(trial - log_tau)))
            log_tau, (linear, rows, residual), damping = trial, better, max(damping / 5, 1e-9)
            if moved < 1e-6:
                break
        else:
            damping *= 8
            if damping > 1e6:
                break
    return least_squares(whitener, ratio, np.concatenate([linear, log_tau]), rows, residual)


def _solved(
    terms: Terms, whitener: Whitener, fixed: FloatArray, z: FloatArray, log_tau: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the best linear values (m + k,), the whitened derivatives by all values (n, m + 2k), the residual (n,)."""
    k = len(log_tau)
    if k == 0:
        linear = solved(fixed, z)
        return linear, fixed, z - fixed @ linear
    shapes = decays(terms.time_s, log_tau)
    slopes = shapes * terms.time_s[:, None] / np.exp(log_tau)
    white = whitener(np.concatenate([shapes, slopes], axis=1))
    rows = np.concatenate([fixed, white[:, :k]], axis=1)
    linear = solved(rows, z)
    return linear, np.concatenate([rows, white[:, k:] * linear[-k:]], axis=1), z - rows @ linear
