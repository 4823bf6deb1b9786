"""The quiet stretches of a leakage map: the quietest place that can be set, and the next best ones."""

from __future__ import annotations

import numpy as np

from aotf_lab.estimation.problem import FloatArray

__all__ = ["quiet_places"]

_SAME = 2.0
"""A stretch ends where the leak has risen by this factor (3 dB)."""


def quiet_places(frequency_mhz: FloatArray, leak: FloatArray, count: int, apart_mhz: float) -> list[int]:
    """Return up to ``count`` places (indices), the quietest first, at least ``apart_mhz`` from each other.

    Between two of them the leak rises by 3 dB at least. Where it is level the middle is taken. ``leak`` (n,) is not a
    number where a frequency cannot be set.

    >>> quiet_places(np.arange(7.0), np.array([9.0, 1.0, 1.0, 1.0, 9.0, 2.0, 9.0]), 3, 1.5)
    [2, 5]
    """
    left = np.where(np.isfinite(leak), leak, np.inf)
    found: list[int] = []
    while len(found) < count and np.isfinite(left).any():
        k = int(np.argmin(left))
        level = np.isclose(left, left[k], rtol=1e-6, atol=0.0)
        ends = np.flatnonzero(~level[k:])
        last = k + int(ends[0]) - 1 if len(ends) else len(left) - 1
        middle = (k + last) // 2
        found.append(middle)
        first, end = _stretch(leak, middle, _SAME * left[k])
        left = left.copy()
        left[first : end + 1] = np.inf
        left[np.abs(frequency_mhz - frequency_mhz[middle]) < apart_mhz] = np.inf
        left[_no_rise(leak, left, first, end)] = np.inf
    return found


def _stretch(leak: FloatArray, place: int, limit: float) -> tuple[int, int]:
    """Return the ends of the stretch about ``place`` where the leak stays below ``limit``."""
    loud = np.flatnonzero(~(leak < limit))
    before, after = loud[loud < place], loud[loud > place]
    return (int(before[-1]) + 1 if len(before) else 0, int(after[0]) - 1 if len(after) else len(leak) - 1)


def _no_rise(leak: FloatArray, left: FloatArray, first: int, end: int) -> FloatArray:
    """Return the places (indices) next to a stretch on a slope that only rises away from it: none is quiet itself."""
    taken = []
    for start, step in ((first - 1, -1), (end + 1, 1)):
        k = start
        while 0 <= k < len(leak) and np.isfinite(left[k]) and (k == start or leak[k] >= leak[k - step]):
            taken.append(k)
            k += step
    return np.array(taken, dtype=int)
