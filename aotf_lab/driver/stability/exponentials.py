"""Exponential terms under white and wandering noise: least squares for their time constants and all linear terms."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.driver.stability.walk import Step, WalkFit, Whitener, least_squares, over_ratios
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

    def widths(self, count: int) -> FloatArray:
        """Return the width (2 count,) of the range that amplitudes (MHz) and log time constants are sought in."""
        low, high = self.bounds_s(count)
        return np.repeat([2.0 * float(np.ptp(self.frequency_mhz)), np.log(high / low)], count)

    def room(self, count: int) -> float:
        """Return the logarithm of the size of the range of all constants: two time constants lie in a triangle.

        >>> terms = Terms(np.arange(0.0, 7210.0, 10.0), np.linspace(0.0, 0.5, 721), np.ones((721, 1)))
        >>> round(float(np.exp(terms.room(2))), 1)  # amplitudes: -0.5 to 0.5 MHz; (ln 160 - ln 1.5)^2 / 2
        10.9
        """
        amplitude, tau = self.widths(count)[[0, -1]]
        return float(np.log(amplitude * tau) if count == 1 else np.log(amplitude**2 * (tau - np.log(_APART)) ** 2 / 2))

    def overstated(self, covariance: FloatArray, count: int) -> float:
        """Return the logarithm by which an average over all values counts those outside the range of the constants.

        ``covariance`` (p, p) is that of all values, those of ``count`` exponentials last. A constant that the readings
        tell well takes nothing; of one that they do not tell, little of its Gaussian lies within the range. Each range
        is taken as a Gaussian of its width about the value found, as high there as the even one.
        """
        narrow = self.widths(count) / (2.0 * np.pi) ** 0.5
        spread = covariance[-2 * count :, -2 * count :] / np.outer(narrow, narrow)
        return 0.5 * float(np.linalg.slogdet(np.eye(2 * count) + spread)[1])


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
    k = len(log_tau)
    bounds = np.log(terms.bounds_s(k))
    damping = 1e-4
    here = _solved(terms, whitener, fixed, z, log_tau)
    for _ in range(_ITERATIONS if k else 0):
        normal, pull = here.outside.T @ here.outside, here.outside.T @ here.residual
        damped = normal + damping * np.diag(np.diag(normal) + 1e-300)
        trial = _allowed(log_tau, damped, pull, *bounds)
        there = _solved(terms, whitener, fixed, z, trial)
        if there.squares <= here.squares:
            moved = float(np.max(np.abs(trial - log_tau)))
            log_tau, here, damping = trial, there, max(damping / 5, 1e-9)
            if moved < 1e-6:
                break
        else:
            damping *= 8
            if damping > 1e6:
                break
    step = least_squares(whitener, ratio, np.concatenate([here.linear, log_tau]), here.rows, here.residual)
    return replace(step, evidence=step.evidence - (terms.overstated(step.covariance, k) if k else 0.0))


def _allowed(log_tau: FloatArray, normal: FloatArray, pull: FloatArray, low: float, high: float) -> FloatArray:
    """Return where the quadratic x normal x / 2 - pull x, x the way from ``log_tau``, is least within the bounds.

    Two time constants are bounded by a triangle, shortest and longest and apart: where the least of all lies outside
    it, that on its three sides is taken. One step goes no farther than a factor e.
    """
    move = np.linalg.solve(normal, pull)
    trial = log_tau + move
    if len(log_tau) == 1:
        trial = np.clip(trial, low, high)
    elif trial[0] < low or trial[1] > high or trial[1] - trial[0] < np.log(_APART):
        near = np.log(_APART)
        corners = np.array([(low, low + near), (low, high), (high - near, high)])
        sides = [
            _on_side(a, b, log_tau, normal, pull) for a, b in zip(corners, np.roll(corners, 1, axis=0), strict=True)
        ]
        trial = min(sides, key=lambda x: (x - log_tau) @ (normal @ (x - log_tau) / 2 - pull))
    move = trial - log_tau
    return np.asarray(log_tau + move / max(1.0, float(np.max(np.abs(move)))))


def _on_side(a: FloatArray, b: FloatArray, origin: FloatArray, normal: FloatArray, pull: FloatArray) -> FloatArray:
    """Return the place between ``a`` and ``b`` where the quadratic about ``origin`` is least."""
    along = b - a
    share = along @ (pull - normal @ (a - origin)) / (along @ normal @ along)
    return np.asarray(a + np.clip(share, 0.0, 1.0) * along)


@dataclass(frozen=True)
class _Solved:
    """The best ``linear`` values (m + k,) at given time constants, all whitened: derivatives by every value ``rows``
    (n, m + 2k), ``residual`` (n,), and ``outside`` (n, k), what of the derivatives by log time constants no linear
    value makes."""

    linear: FloatArray
    rows: FloatArray
    residual: FloatArray
    outside: FloatArray

    @property
    def squares(self) -> float:
        """The sum of squares."""
        return float(self.residual @ self.residual)


def _solved(terms: Terms, whitener: Whitener, fixed: FloatArray, z: FloatArray, log_tau: FloatArray) -> _Solved:
    """Return the best linear values at ``log_tau`` (k,)."""
    k = len(log_tau)
    shapes = decays(terms.time_s, log_tau)
    white = whitener(np.concatenate([shapes, shapes * terms.time_s[:, None] / np.exp(log_tau)], axis=1))
    rows = np.concatenate([fixed, white[:, :k]], axis=1)
    q, r = np.linalg.qr(rows)
    within = q.T @ z
    linear = np.linalg.solve(r, within)
    slopes = white[:, k:] * linear[len(linear) - k :]
    return _Solved(linear, np.concatenate([rows, slopes], axis=1), z - q @ within, slopes - q @ (q.T @ slopes))
