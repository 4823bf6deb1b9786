"""Ranges of the power meter that nobody wrote down, seen in the digits that it shows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["found_ranges", "nearer_ranges"]

_MOST_DIGITS, _FEWEST, _FEW_LOW, _FINER, _GAP = 9, 5, 1, 0.4, 2
"""Digits from which numbers count as unrounded; rows that make a higher and a lower range; share of the lower ones
that shows the finer digit (nine in ten do); rows in sequence whose last digit may be zero by chance."""

_WELL_BELOW, _BESIDE = 0.95, 1.3
"""Powers, over the highest seen to be of a lower range, between which a reading may be of either range."""


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
        inside = inside[_filled(lower, size[inside])]
        ranges[inside] = k
    return ranges if ranges.any() else None


def nearer_ranges(solution: ScanSolution) -> NDArray[np.intp] | None:
    """Return the ranges (n,) in which the fitted light fits best, where the digits leave them open; None for no change.

    A tenth of the readings of a lower range end in zero, and next to the change of range they pass for the higher one.
    """
    size = np.abs(solution.table.power_mw)
    ranges, digits = solution.model.ranges, _digits(size)
    if ranges is None or digits is None:
        return None
    nearer = ranges.copy()
    for k in range(1, int(ranges.max()) + 1):
        coarse = digits <= digits[ranges == k - 1].max()
        top = float(np.max(size[(ranges == k) & ~coarse], initial=0.0))
        beside = (size > _WELL_BELOW * top) & (size < _BESIDE * top)
        open_rows = coarse & beside & ((ranges == k) | (ranges == k - 1))
        lower = _misfit(solution, k) + 2.0 * np.log(10.0) < _misfit(solution, k - 1)
        nearer[open_rows] = np.where(lower, k, k - 1)[open_rows]
    same = np.array_equal(nearer, ranges) or len(np.unique(nearer)) < len(np.unique(ranges))
    return None if same else nearer


def _misfit(solution: ScanSolution, k: int) -> FloatArray:
    """Return the square of each row's distance (n,) from the fitted light as range ``k`` would show it, over its u."""
    model, values, table = solution.model, solution.fit.values, solution.table
    light = (model(table.frequency_mhz, *values) - model.offsets(values)) / model.gains(values)
    gain = 1.0 if k == 0 else values[model.place[f"gain_{k}"]]
    offset = 0.0 if k == 0 else values[model.place[f"offset_{k}_mw"]]
    return np.asarray(((table.power_mw - gain * light - offset) / solution.noise.u_mw) ** 2)


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


def _filled(lower: NDArray[np.bool_], size: FloatArray) -> NDArray[np.bool_]:
    """Return ``lower`` with the few rows in sequence, well below its highest, whose last digit happens to be zero."""
    filled = lower.copy()
    open_rows = ~lower & (size < _WELL_BELOW * size[lower].max())
    edges = np.flatnonzero(np.diff(np.concatenate([[False], open_rows, [False]]).astype(int)))
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if b - a <= _GAP:
            filled[a:b] = True
    return filled
