"""Which rows of two logs belong together: nearest in time, one to one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["nearest_pairs"]

FloatArray = NDArray[np.float64]


def nearest_pairs(first_s: FloatArray, second_s: FloatArray, tolerance_s: float) -> tuple[NDArray[np.intp], ...]:
    """Return the rows of first and of second that are paired, in the order of first.

    Of all pairs no further apart than ``tolerance_s`` the closest is taken first, then the closest
    of what is left. Rows without a time (NaN) stay alone.

    >>> [rows.tolist() for rows in nearest_pairs(np.array([0.0, 1.0, 1.1]), np.array([1.04, 0.1]), 0.2)]
    [[0, 1], [1, 0]]
    """
    order = np.argsort(second_s, kind="stable")
    order = order[np.isfinite(second_s[order])]
    ordered = second_s[order]
    slack = tolerance_s + 1e-9
    low = np.searchsorted(ordered, first_s - slack, side="left")
    high = np.where(np.isfinite(first_s), np.searchsorted(ordered, first_s + slack, side="right"), low)
    counts = high - low
    rows = np.repeat(np.arange(len(first_s)), counts)
    within = np.arange(len(rows)) - np.repeat(np.cumsum(counts) - counts, counts)
    partners = order[np.repeat(low, counts) + within]
    partner = np.full(len(first_s), -1)
    taken = np.zeros(len(second_s), dtype=bool)
    for k in np.argsort(np.abs(first_s[rows] - second_s[partners]), kind="stable"):
        if partner[rows[k]] < 0 and not taken[partners[k]]:
            partner[rows[k]], taken[partners[k]] = partners[k], True
    paired = np.flatnonzero(partner >= 0)
    return paired, partner[paired]
