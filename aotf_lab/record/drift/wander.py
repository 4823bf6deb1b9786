"""A random walk over the days of the records."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from aotf_lab.estimation.problem import FloatArray

__all__ = ["Wander"]


@dataclass(frozen=True, eq=False)
class Wander:
    """A random walk seen on ``days`` (n,), not all the same: its variance grows by 1 over their mean gap.

    Where it started is no part of it: it is taken less its mean over the records, which an offset makes up for.
    """

    days: FloatArray

    @cached_property
    def _from_first(self) -> FloatArray:
        """The covariance (n, n) of the walk counted from the first record, where it is zero."""
        gap = float(np.ptp(self.days)) / (len(self.days) - 1)
        return np.asarray((np.minimum.outer(self.days, self.days) - self.days.min()) / gap)

    @cached_property
    def _mean(self) -> float:
        return float(self._from_first.mean()) + 1.0 / len(self.days)

    @cached_property
    def _of_each(self) -> FloatArray:
        return np.asarray(self._from_first.mean(axis=1))

    @cached_property
    def covariance(self) -> FloatArray:
        """That (n, n) of the walk at the records.

        >>> c = Wander(np.array([0.0, 10.0, 20.0])).covariance
        >>> [round(float(c[0, 0] + c[k, k] - 2 * c[0, k]), 12) for k in (1, 2)]
        [1.0, 2.0]
        """
        return np.asarray(self._from_first - self._of_each[:, None] - self._of_each + self._mean)

    def covariance_at(self, day: float) -> tuple[FloatArray, float]:
        """Return that (n,) of the walk on a ``day``, not before the last record, with the records, and its variance."""
        since = np.diag(self._from_first)
        last, gap = float(np.max(self.days)), float(np.ptp(self.days)) / (len(self.days) - 1)
        now, mean = float(since.max()) + (day - last) / gap, float(since.mean())
        return since - mean - self._of_each + self._mean, now - 2.0 * mean + self._mean
