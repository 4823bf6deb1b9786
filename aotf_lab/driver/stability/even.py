"""The longest stretch of a log in which the readings follow each other evenly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.problem import FloatArray

__all__ = ["Stretch", "longest_even"]

_UNEVEN = 0.25
"""Share of the usual step by which one step may differ: stamps are rounded, and loggers wait for the counter."""


@dataclass(frozen=True)
class Stretch:
    """Rows ``first`` to ``last`` (both in it) at ``rate_hz``; the log is uneven before the rows ``breaks``."""

    first: int
    last: int
    rate_hz: float
    breaks: NDArray[np.intp]

    def __len__(self) -> int:
        return self.last - self.first + 1


def longest_even(time_s: FloatArray) -> Stretch:
    """Return the longest even stretch of rising ``time_s`` (n,), n >= 2.

    >>> longest_even(np.array([0.0, 1.0, 5.0, 6.0, 7.0, 8.0]))
    Stretch(first=2, last=5, rate_hz=1.0, breaks=array([2]))
    """
    steps = np.diff(time_s)
    usual = float(np.median(steps))
    breaks = np.flatnonzero(np.abs(steps - usual) > _UNEVEN * usual) + 1
    edges = np.concatenate([[0], breaks, [len(time_s)]])
    k = int(np.argmax(np.diff(edges)))
    first, last = int(edges[k]), int(edges[k + 1]) - 1
    rate = (last - first) / float(time_s[last] - time_s[first]) if last > first else 1.0 / usual
    return Stretch(first, last, rate, breaks)
