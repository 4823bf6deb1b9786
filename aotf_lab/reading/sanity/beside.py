"""What the rows beside a row say of it, in whatever order a column is smooth."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers

__all__ = ["Beside", "beside", "column_in_order", "partner_of"]

_PARTNER = {"drive_v": "frequency_mhz", "frequency_mhz": "drive_v"}
_DISTINCT = 6


class Beside:
    """The range in which a row is expected, and the largest of the rows beside it."""

    __slots__ = ("high", "largest", "low")

    def __init__(self, low: float, high: float, largest: float) -> None:
        self.low, self.high, self.largest = low, high, largest

    def holds(self, value: float, slack: float) -> bool:
        """Return whether ``value`` lies in the range, widened by the factor ``slack``.

        >>> Beside(2.0, 4.0, 4.0).holds(5.0, 1.3), Beside(2.0, 4.0, 4.0).holds(-3.0, 1.3)
        (True, False)
        """
        return self.low / slack <= value <= self.high * slack

    def gap(self, value: float) -> float:
        """Return how far a positive ``value`` is from the middle of the range, as |log|."""
        middle = 0.5 * (self.low + self.high)
        return abs(float(np.log(value / middle))) if value > 0 and middle > 0 else np.inf


def partner_of(readings: Readings, column: str) -> str | None:
    """Return the column that ``column`` follows: drive and frequency follow each other; None: file order."""
    partner = _PARTNER.get(column)
    if partner is None or partner not in readings.table.columns:
        return None
    values = numbers(readings.table[partner])
    return partner if np.unique(values[np.isfinite(values)]).size >= _DISTINCT else None


def column_in_order(readings: Readings, column: str, explained: Collection[int]) -> tuple[NDArray[np.intp], Floats]:
    """Return the rows that have a number in ``column``, in the order in which it is smooth, and the numbers."""
    values = numbers(readings.table[column])
    usable = np.isfinite(values)
    usable[list(explained)] = False
    partner = partner_of(readings, column)
    rows = np.flatnonzero(usable)
    if partner is not None:
        along = numbers(readings.table[partner])
        rows = rows[np.isfinite(along[rows])]
        rows = rows[np.argsort(along[rows], kind="stable")]
    return rows, values[rows]


def beside(values: Floats, at: int, doubted: NDArray[np.bool_]) -> Beside | None:
    """Return what the two nearest undoubted rows on each side say of the row at position ``at``, None when too few.

    Inside it is the range of the next rows and of a cubic through four in the square root, which follows the flank
    and the sidelobes of a passband; at an end it is a straight line onwards and the next row.
    """
    good = np.flatnonzero(~doubted)
    left, right = good[good < at][-2:], good[good > at][:2]
    near = np.concatenate([left, right])
    if near.size < 2 or np.any(values[near] <= 0):
        return None
    roots = np.sqrt(values[near])
    if left.size and right.size:
        said = [float(roots[left.size - 1]), float(roots[left.size])]
        if near.size == 4:
            said.append(float(np.interp(at, near, roots)) + (roots[1] + roots[2] - roots[0] - roots[3]) / 6.0)
    else:
        nearest, next_one = (roots[0], roots[1]) if right.size else (roots[-1], roots[-2])
        said = [float(nearest), float(2.0 * nearest - next_one)]
    squares = [max(s, 0.0) ** 2 for s in said]
    return Beside(min(squares), max(squares), float(np.max(values[near])))
