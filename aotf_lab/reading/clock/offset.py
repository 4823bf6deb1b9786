"""By how much do two clocks differ, when both logs saw the same run?

The lag at which the correlation of the two signals over their overlap is largest (``scipy.signal.correlate``),
refined by a parabola. Where both logs hold one quantity, its level is compared by the coefficient of concordance
(Lin, Biometrics 45 (1989) 255: two signals agree only when their values do); else the activity, by Pearson's
coefficient. The standard uncertainty is the jackknife's over the steps of the run (Efron and Stein, Annals of
Statistics 9 (1981) 586), widened as Student t's for the effective number of steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.clock.tracks import Comparison, FloatArray, Track, activity, lagged, level

__all__ = ["CLEAR", "Offset", "estimate_offset"]

CLEAR = 1.0
"""Least distance of the best peak from the runner-up: sqrt(n - 3) (artanh r1 - artanh r2), with Fisher's
transformation of the coefficients and n readings in the overlap. The benchmark clock_offset counts what passes."""

_PER_STEP = 4
_LONGEST = 2**21
_MOST_BLOCKS = 240
_SAMPLED_BLOCKS = 24


@dataclass(frozen=True)
class Offset:
    """time(first) = time(second) + ``offset_s``; ``u_s`` from the scatter of the signals.

    ``score`` and ``runner_up_score`` are the coefficients at ``offset_s`` and ``runner_up_s`` (NaN when there is
    no second peak); ``clearness`` is to be compared with ``CLEAR``.
    """

    offset_s: float
    u_s: float
    score: float
    runner_up_s: float
    runner_up_score: float
    clearness: float

    @property
    def clear(self) -> bool:
        """Whether the best peak stands clear of the runner-up."""
        return self.clearness >= CLEAR and np.isfinite(self.u_s)


@dataclass(frozen=True)
class _Signals:
    """Two signals on grids of one cell size; ``plain`` is the first without lag, ``low_s`` its time less the second's.

    ``edges`` are the first cells of the blocks, ``info`` is how much each cell tells, ``settings_s`` the times of
    the steps.
    """

    plain: FloatArray
    first: FloatArray
    second: FloatArray
    cell_s: float
    low_s: float
    by_level: bool
    edges: NDArray[np.intp]
    info: FloatArray
    settings_s: FloatArray


def estimate_offset(pair: Comparison, lag_s: float = 0.0, bounds_s: tuple[float, float] | None = None) -> Offset | None:
    """Return the offset that is to be added to the times of the second log; None when nothing correlates.

    ``lag_s`` is the first-order lag (s) of the meter that answers, ``bounds_s`` bounds the offset. Lags at which
    less than half of the shorter log overlaps are not tried.
    """
    if not pair.swapped:
        return _estimate(pair, lag_s, bounds_s)
    found = _estimate(pair, lag_s, None if bounds_s is None else (-bounds_s[1], -bounds_s[0]))
    return None if found is None else replace(found, offset_s=-found.offset_s, runner_up_s=-found.runner_up_s)


def _estimate(pair: Comparison, lag_s: float, bounds_s: tuple[float, float] | None) -> Offset | None:
    """Return the offset that is to be added to the times of the answer."""
    from scipy.signal import find_peaks  # loads slowly, and few readings need it

    signals = _signals(pair, lag_s)
    lags, r, n = _correlation(signals.plain, signals.second, signals.by_level)
    offsets_s = lags * signals.cell_s + signals.low_s
    usable = n >= 0.5 * min(len(signals.plain), len(signals.second))
    if bounds_s is not None:
        usable &= (offsets_s >= bounds_s[0]) & (offsets_s <= bounds_s[1])
    everywhere, r = r, np.where(usable, r, -1.0)
    best = int(np.argmax(r))
    if r[best] <= 0:
        return None
    around = everywhere[max(0, best - 1) : best + 2]
    if everywhere[best] < around.max():  # the peak lies outside of what was searched
        return Offset(float(offsets_s[best]), np.inf, float(r[best]), np.nan, np.nan, 0.0)
    width = 2 * _PER_STEP + 1
    peaks, _ = find_peaks(r)
    peaks = peaks[np.abs(peaks - best) > width]
    other = int(peaks[np.argmax(r[peaks])]) if peaks.size else None
    readings = n[best] * signals.cell_s / pair.answer.step_s
    offset_s, u_s = _refined(signals, int(lags[best]), lag_s)
    second_r = r[other] if other is not None else -1.0
    return Offset(
        offset_s, u_s, float(r[best]), float(offsets_s[other]) if other is not None else np.nan,
        float(second_r) if other is not None else np.nan, _clearness(float(r[best]), float(second_r), readings),
    )  # fmt: skip


def _clearness(best: float, other: float, readings: float) -> float:
    most = 1.0 - 1e-9
    return float(np.sqrt(max(readings - 3.0, 0.0)) * (np.arctanh(min(best, most)) - np.arctanh(max(other, -most))))


def _signals(pair: Comparison, lag_s: float) -> _Signals:
    first, second = pair.cause, pair.answer
    span = max(np.ptp(first.time_s), np.ptp(second.time_s))
    cell = max(second.step_s / _PER_STEP, float(span) / _LONGEST)
    by_level = pair.kind == "level"
    margin = 0.0 if by_level else 2 * second.step_s
    grid_1 = np.arange(
        first.time_s[0] - margin, first.time_s[-1] + margin + (0 if by_level else 6 * lag_s) + cell, cell
    )
    grid_2 = np.arange(second.time_s[0], second.time_s[-1] + cell, cell)
    if by_level:
        plain, signal = level(first, grid_1), level(second, grid_2)
        middle, scale = float(np.mean(signal)), float(np.std(signal)) or 1.0
        plain, signal = (plain - middle) / scale, (signal - middle) / scale
        info = np.abs(np.diff(plain, append=plain[-1]))
    else:
        # a change is seen anywhere between two samples: on average a triangle about the moment it happens
        box = np.ones(_PER_STEP) / _PER_STEP
        plain = np.convolve(activity(first, grid_1), np.convolve(box, box), mode="same")
        signal = activity(second, grid_2)
        plain, signal = plain / plain.max(), signal / signal.max()
        info = plain
    return _Signals(
        plain, lagged(plain, cell, lag_s), signal, cell, float(grid_1[0] - grid_2[0]), by_level,
        _edges(first, grid_1[: len(plain)], lag_s), info, first.time_s if first.staged else np.empty(0),
    )  # fmt: skip


def _edges(first: Track, grid_s: FloatArray, lag_s: float) -> NDArray[np.intp]:
    """Return the first cell of every block that the jackknife leaves out: about one step of the run each."""
    if first.staged:
        group = -(-len(first.time_s) // _MOST_BLOCKS)
        middles = ((first.time_s[:-1] + first.time_s[1:]) / 2 + 0.5 * lag_s)[group - 1 :: group]
        cells = np.searchsorted(grid_s, middles)
    else:
        cells = np.linspace(0, len(grid_s), _SAMPLED_BLOCKS + 1).astype(np.intp)[1:-1]
    return np.unique(np.concatenate([[0], cells[(cells > 0) & (cells < len(grid_s))]])).astype(np.intp)


def _correlation(one: FloatArray, two: FloatArray, by_level: bool) -> tuple[NDArray[np.int_], FloatArray, FloatArray]:
    """Return every lag (cells), the coefficient over the overlap at that lag, and the cells that overlap."""
    from scipy.signal import correlate  # loads slowly, and few readings need it

    ones, twos = np.ones_like(one), np.ones_like(two)
    sums = [correlate(a, b, mode="full", method="fft") for a, b in (
        (ones, twos), (one, twos), (ones, two), (one * one, twos), (ones, two * two), (one, two))]  # fmt: skip
    sums[0] = np.maximum(np.round(sums[0]), 1.0)
    return np.arange(1 - len(two), len(one)), _coefficient(np.array(sums), by_level), sums[0]


def _coefficient(sums: FloatArray, by_level: bool) -> FloatArray:
    """Return Pearson's coefficient, or Lin's of concordance, from n, sum x, y, xx, yy, xy (first axis)."""
    n, x, y, xx, yy, xy = sums
    var_x, var_y = np.maximum(xx - x * x / n, 0.0), np.maximum(yy - y * y / n, 0.0)
    scale = var_x + var_y + (x - y) ** 2 / n if by_level else 2.0 * np.sqrt(var_x * var_y)
    least = 1e-9 * (float(np.max(xx)) + float(np.max(yy)))
    return np.asarray(2.0 * (xy - x * y / n) / np.maximum(scale, least))


def _refined(signals: _Signals, lag: int, lag_s: float) -> tuple[float, float]:
    """Return the offset at the top of the peak near ``lag`` and its standard uncertainty (s)."""
    reach = 2 * _PER_STEP + 2
    near = np.arange(lag - reach, lag + reach + int(np.ceil(lag_s / signals.cell_s)) + 1)
    sums = np.stack([_block_sums(signals, int(k)) for k in near], axis=1)  # 6, lags, blocks
    total = sums.sum(axis=2)
    at = _top(_coefficient(total, signals.by_level), 0, len(near))
    left_out = _coefficient(total[:, :, None] - sums, signals.by_level)
    around = (max(0, int(at) - reach), min(len(near), int(at) + reach + 1))
    tops = np.array([_top(left_out[:, b], *around) for b in range(left_out.shape[1])])
    offset = (float(near[0]) + at) * signals.cell_s + signals.low_s
    share = np.add.reduceat(signals.info, signals.edges) if signals.by_level else np.abs(sums[5, round(at)])
    steps = float(share.sum() ** 2 / np.sum(share**2)) if np.any(share) else 0.0
    blocks = len(tops)
    if steps <= 3.0 or not np.all(np.isfinite(tops)):
        return offset, float("inf")
    scatter = np.sqrt((blocks - 1) / blocks * np.sum((tops - tops.mean()) ** 2)) * np.sqrt((steps - 1) / (steps - 3))
    return offset, float(np.hypot(scatter * signals.cell_s, _u_of_phase(signals, share)))


def _u_of_phase(signals: _Signals, share: FloatArray) -> float:
    """Return the u (s) that equal steps leave, as they always fall on the same moments between two samples.

    A change is placed half-way between two samples. Its error averages out over steps that fall anywhere; what is
    left beyond that, with the phase of the samples unknown, no jackknife can see.
    """
    events_s = signals.settings_s
    if len(events_s) != len(share):
        return 0.0
    weights, sample_s = share / share.sum(), _PER_STEP * signals.cell_s
    phases = (events_s[:, None] / sample_s + np.arange(64) / 64) % 1.0 - 0.5
    mean_square = float(np.mean((weights @ phases) ** 2))
    return sample_s * float(np.sqrt(max(mean_square - np.sum(weights**2) / 12.0, 0.0)))


def _block_sums(signals: _Signals, lag: int) -> FloatArray:
    """Return n, sum x, y, xx, yy, xy over the overlap at ``lag``, for each block."""
    one, two = signals.first, signals.second
    begin, end = max(0, lag), min(len(one), len(two) + lag)
    products = np.zeros((6, len(one)))
    if begin < end:
        x, y = one[begin:end], two[begin - lag : end - lag]
        products[:, begin:end] = (np.ones_like(x), x, y, x * x, y * y, x * y)
    return np.add.reduceat(products, signals.edges, axis=1)


def _top(r: FloatArray, begin: int, end: int) -> float:
    """Return where (in cells from the first) a parabola through the highest points from begin to end has its top."""
    half = _PER_STEP // 2
    k = int(np.clip(begin + np.argmax(r[begin:end]), half, len(r) - 1 - half))
    a, b, _ = np.polyfit(np.arange(-half, half + 1), r[k - half : k + half + 1], 2)
    return float(k - np.clip(b / (2 * a), -half, half)) if a < 0 else float(k)
