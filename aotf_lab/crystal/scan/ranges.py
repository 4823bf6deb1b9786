"""Ranges of the power meter that nobody wrote down, seen in the digits that it shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["found_ranges"]

_MOST_DIGITS, _FEWEST, _FEW_LOW, _FINER, _GAP = 9, 5, 3, 0.6, 2
"""Digits from which numbers count as unrounded; rows that make a higher and a lower range; share of the lower ones
that shows the finer digit (nine in ten do); rows in sequence whose last digit may be zero by chance."""


def found_ranges(table: ScanTable) -> NDArray[np.intp] | None:
    """Return the range (n,) of each row, 0 for the highest readings, where the shown digits say that there are several.

    A meter in a lower range shows finer digits. Readings from some level on up that are all whole multiples of ten
    last digits of those below are of another range; five such in sequence are one chance in 10^5.
    """
    size = np.abs(table.power_mw)
    digits = _digits(size)
    if digits is None:
        return None
    ranges = np.zeros(len(size), dtype=np.intp)
    inside = np.arange(len(size))
    for k in range(1, 5):
        lower = _lower(size[inside], digits[inside])
        if lower is None:
            break
        inside = inside[_filled(lower)]
        ranges[inside] = k
    return ranges if ranges.any() else None


def _digits(size: FloatArray) -> NDArray[np.intp] | None:
    """Return by how many decimals each number is written, on a common scale; None for numbers that are not rounded."""
    scale = 10.0 ** -np.floor(np.log10(max(float(size.max()), 1e-300)))
    digits = np.full(len(size), -1, dtype=np.intp)
    for d in range(_MOST_DIGITS):
        scaled = size * scale * 10.0**d
        whole = np.abs(scaled - np.round(scaled)) < 1e-4
        digits[(digits < 0) & whole] = d
    return digits if np.all(digits >= 0) else None


def _lower(size: FloatArray, digits: NDArray[np.intp]) -> NDArray[np.bool_] | None:
    """Return which rows show finer digits than the highest ones ever do; None where the digits tell no ranges."""
    order = np.argsort(-size, kind="stable")
    most = np.maximum.accumulate(digits[order])
    steps = np.flatnonzero(np.diff(most) > 0) + 1
    for cut in steps.tolist():
        if cut >= _FEWEST and len(order) - cut >= _FEW_LOW:
            coarse = most[cut - 1]
            fine = np.mean(digits[order[cut:]] > coarse)
            if fine > _FINER:
                return np.asarray(digits > coarse)
    return None


def _filled(lower: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return ``lower`` with the few rows between whose last digit happens to be zero."""
    filled = lower.copy()
    rows = np.flatnonzero(lower)
    for a, b in zip(rows[:-1].tolist(), rows[1:].tolist(), strict=True):
        if b - a - 1 <= _GAP:
            filled[a:b] = True
    return filled
