"""How the mean of a block scatters when neighbouring readings are not independent: means of batches.

Readings are averaged in pairs, the pairs in pairs, and so on (H. Flyvbjerg and H. G. Petersen,
J. Chem. Phys. 91, 461 (1989)). At level k a batch has 2^k readings, and from the scatter of the m
batch means in a block follows the variance of the block's mean, sum (x_j - mean)^2 / (m (m - 1)). With
correlated noise it rises with k, to the true one when the batches are longer than the correlation.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["LEVELS", "OpenBlock", "Scatter", "closed_blocks"]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LEVELS = 28
"""Levels kept: batches of up to 2^27 readings."""


@dataclass(frozen=True)
class Scatter:
    """Of each of B blocks: ``count`` readings, their ``mean``, and ``variance`` (B, LEVELS) of that mean
    as the batches of each level give it, NaN where there are fewer than two batches."""

    count: Counts
    mean: Array
    variance: Array


def closed_blocks(values: Array, counts: Counts) -> Scatter:
    """Return the scatter of consecutive blocks of ``values``, of ``counts`` (B,) readings each, none empty.

    >>> closed_blocks(np.array([1.0, 3.0, 5.0, 7.0]), np.array([4])).variance[0, :3].round(4).tolist()
    [1.6667, 4.0, nan]
    """
    counts = counts.astype(np.int64)
    starts = _starts(counts)
    mean = np.add.reduceat(values, starts) / counts
    level, sizes = values - np.repeat(mean, counts), counts
    variance = np.full((len(counts), LEVELS), np.nan)
    for k in range(LEVELS):
        if k:
            level, sizes = _pairs(level, sizes)
        enough = sizes >= 2
        if not enough.any():
            break
        _add_level(variance, k, level, sizes, enough, counts)
    return Scatter(counts, mean, variance)


def _starts(sizes: Counts) -> Counts:
    return np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)


def _pairs(level: Array, sizes: Counts) -> tuple[Array, Counts]:
    """Return the means of pairs within each block; an odd one at the end of a block is left out."""
    odd = (sizes & 1).astype(bool)
    if odd.any():
        level = np.delete(level, (np.cumsum(sizes) - 1)[odd])
    return 0.5 * (level[::2] + level[1::2]), sizes >> 1


def _add_level(variance: Array, k: int, level: Array, sizes: Counts, enough: NDArray[np.bool_], counts: Counts) -> None:
    full = sizes > 0
    starts = _starts(sizes[full])
    total, squares = np.zeros(len(sizes)), np.zeros(len(sizes))
    total[full] = np.add.reduceat(level, starts)
    squares[full] = np.add.reduceat(level * level, starts)
    variance[enough, k] = _variance(total[enough], squares[enough], sizes[enough], counts[enough], k)


def _variance(total: Array, squares: Array, sizes: Counts, counts: Counts, k: int) -> Array:
    """Return the variance of the block's mean; the readings that fill no batch count as the others do."""
    spread = np.maximum(squares - total**2 / sizes, 0.0)
    result: Array = spread / (sizes * (sizes - 1.0)) * (sizes * 2.0**k / counts)
    return result


@dataclass
class OpenBlock:
    """One block that grows piece by piece, in memory that does not grow with it."""

    count: int = 0
    reference: float = 0.0
    _sizes: Counts = field(default_factory=lambda: np.zeros(LEVELS, np.int64))
    _total: Array = field(default_factory=lambda: np.zeros(LEVELS))
    _squares: Array = field(default_factory=lambda: np.zeros(LEVELS))
    _left: list[Array] = field(default_factory=lambda: [np.empty(0)] * LEVELS)

    def add(self, values: Array) -> None:
        """Add the next readings of the block."""
        if not len(values):
            return
        if not self.count:
            self.reference = float(np.mean(values))
        self.count += len(values)
        level = values - self.reference
        for k in range(LEVELS):
            self._sizes[k] += len(level)
            self._total[k] += float(level.sum())
            self._squares[k] += float(level @ level)
            waiting = np.concatenate([self._left[k], level]) if len(self._left[k]) else level
            even = len(waiting) // 2 * 2
            self._left[k] = waiting[even:].copy()
            level = 0.5 * (waiting[:even:2] + waiting[1:even:2])
            if not len(level):
                break

    def close(self) -> Scatter:
        """Return the scatter of the block; it must hold a reading."""
        sizes = self._sizes
        enough = sizes >= 2
        variance = np.full((1, LEVELS), np.nan)
        for k in np.flatnonzero(enough).tolist():
            part = slice(k, k + 1)
            count = np.array([self.count])
            variance[0, k] = _variance(self._total[part], self._squares[part], sizes[part], count, k)[0]
        mean = self.reference + self._total[0] / self.count
        return Scatter(np.array([self.count]), np.array([mean]), variance)
