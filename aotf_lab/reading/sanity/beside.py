"""What the rows beside a row say of it, in whatever order a column is smooth."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers

__all__ = ["Beside", "InOrder", "beside", "beyond", "column_in_order", "partner_of"]

_PARTNER = {"drive_v": "frequency_mhz", "frequency_mhz": "drive_v"}
_DISTINCT = 6
_BEYOND = 3.0


@dataclass(frozen=True)
class Beside:
    """The range in which a row is expected, and where in it."""

    low: float
    high: float
    middle: float

    def holds(self, value: float, slack: float) -> bool:
        """Return whether ``value`` lies in the range, widened by the factor ``slack``.

        >>> Beside(2.0, 4.0, 3.0).holds(5.0, 1.3), Beside(2.0, 4.0, 3.0).holds(-3.0, 1.3)
        (True, False)
        """
        return self.low / slack <= value <= self.high * slack

    def gap(self, value: float) -> float:
        """Return how far a positive ``value`` is from what is expected, as |log|."""
        return abs(float(np.log(value / self.middle))) if value > 0 and self.middle > 0 else float("inf")


def partner_of(readings: Readings, column: str) -> str | None:
    """Return the column that ``column`` follows: drive and frequency follow each other; None: file order."""
    partner = _PARTNER.get(column)
    if partner is None or partner not in readings.table.columns:
        return None
    values = numbers(readings.table[partner])
    return partner if np.unique(values[np.isfinite(values)]).size >= _DISTINCT else None


@dataclass(frozen=True)
class InOrder:
    """The rows (positions) that have a number, in an order in which the numbers are smooth, and along what."""

    rows: NDArray[np.intp]
    along: Floats
    values: Floats


def column_in_order(readings: Readings, column: str, explained: Collection[int]) -> InOrder:
    """Return the numbers of ``column`` in the order of its partner, else of the file, without ``explained`` rows."""
    values = numbers(readings.table[column])
    usable = np.isfinite(values)
    usable[list(explained)] = False
    partner = partner_of(readings, column)
    along = np.arange(values.size, dtype=float) if partner is None else numbers(readings.table[partner])
    rows = np.flatnonzero(usable & np.isfinite(along))
    rows = rows[np.argsort(along[rows], kind="stable")]
    return InOrder(rows, along[rows], values[rows])


def beside(column: InOrder, at: int, doubted: NDArray[np.bool_]) -> Beside | None:
    """Return what the two nearest undoubted rows on each side say of the row at position ``at``, None when too few.

    Inside it is the range of the next rows and of a cubic through four in the square root, which follows the flank
    and the sidelobes of a passband; at an end it is a straight line onwards and the next row.
    """
    good = np.flatnonzero(~doubted)
    left, right = good[good < at][-2:], good[good > at][:2]
    near = np.concatenate([left, right])
    if near.size < 2 or np.any(column.values[near] <= 0):
        return None
    x, roots = column.along[near] - column.along[at], np.sqrt(column.values[near])
    if left.size and right.size:
        inner = slice(left.size - 1, left.size + 1)
        expected = float(np.interp(0.0, x[inner], roots[inner]))
        said = [float(roots[left.size - 1]), float(roots[left.size]), expected]
        if near.size == 4 and np.ptp(np.diff(x)) < 0.1 * np.mean(np.diff(x)):
            expected += (roots[1] + roots[2] - roots[0] - roots[3]) / 6.0
            said.append(expected)
    else:
        nearest, next_one = (roots[0], roots[1]) if right.size else (roots[-1], roots[-2])
        expected = float(2.0 * nearest - next_one)
        said = [float(nearest), expected]
    squares = [max(s, 0.0) ** 2 for s in said]
    return Beside(min(squares), max(squares), max(expected, 0.0) ** 2)


def beyond(values: Floats) -> NDArray[np.bool_]:
    """Return the rows above the widest gap in the upper third of the values, when that is a factor of three or more.

    Three such rows on end and more are no slip of single numbers, but a peak.
    """
    size = np.abs(values)
    order = np.argsort(size, kind="stable")
    upper = order[values.size - values.size // 3 - 1 :]
    ratios = size[upper[1:]] / np.maximum(size[upper[:-1]], 1e-300)
    beyond = np.zeros(values.size, dtype=bool)
    if ratios.size and np.max(ratios) > _BEYOND:
        beyond[upper[1 + int(np.argmax(ratios)) :]] = True
    alone = ~beyond
    inside = beyond[1:-1] & beyond[:-2] & beyond[2:]
    alone[1:-1] |= inside
    alone[:-2] |= inside
    alone[2:] |= inside
    return beyond & ~alone
