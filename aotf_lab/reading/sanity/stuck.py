"""Runs of equal readings, and what the rows around them say should stand there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.reading.sanity.scatter import Floats, resolution

__all__ = ["Run", "equal_runs", "missed_steps"]

_AROUND = 8


@dataclass(frozen=True)
class Run:
    """Equal readings from position ``first`` to ``last`` (included), in the order of the file."""

    first: int
    last: int

    @property
    def size(self) -> int:
        """How many readings are equal."""
        return self.last - self.first + 1


def equal_runs(values: Floats, least: int = 3) -> list[Run]:
    """Return the runs of at least ``least`` equal readings in a row.

    >>> equal_runs(np.array([1.0, 2.0, 2.0, 2.0, 3.0]))
    [Run(first=1, last=3)]
    """
    edges = np.flatnonzero(np.diff(values) != 0) + 1
    starts = np.concatenate([[0], edges]).astype(int)
    ends = np.concatenate([edges - 1, [values.size - 1]]).astype(int)
    return [Run(int(a), int(b)) for a, b in zip(starts, ends, strict=True) if b - a + 1 >= least]


def missed_steps(values: Floats, run: Run) -> float:
    """Return by how many steps of the display a run misses what its surroundings do, 0 where they are as still.

    It is the larger of two: the farthest that a cubic (line, at the ends) through the rows around lies from the
    run, and three times the scatter of those rows. Below a few steps, a coarse display explains the run.
    """
    step = resolution(values)
    if step == 0:
        return 0.0
    left = np.arange(max(run.first - _AROUND, 0), run.first)
    right = np.arange(run.last + 1, min(run.last + 1 + _AROUND, values.size))
    near = np.concatenate([left, right])
    if near.size < 3:
        return 0.0
    inner = [np.abs(values[s][1:-1] - 0.5 * (values[s][2:] + values[s][:-2])) for s in (left, right) if s.size > 2]
    scatter = float(np.median(np.concatenate(inner))) if inner else 0.0
    edges = [k for k in (run.first - 1, run.last + 1) if 0 <= k < values.size]
    jump = max(abs(values[k] - values[run.first]) for k in edges)
    return float(max(3.0 * scatter, min(_bulge(values, left, right, run), 10.0 * jump)) / step)


def _bulge(values: Floats, left: np.ndarray, right: np.ndarray, run: Run) -> float:
    near = np.concatenate([left[-2:], right[:2]])
    inside = np.arange(run.first, run.last + 1)
    power = min(near.size - 1, 3 if left.size and right.size else 1)
    middle = 0.5 * (run.first + run.last)
    curve = np.polynomial.Polynomial.fit(near - middle, values[near], power, domain=[-1, 1])
    return float(np.max(np.abs(curve(inside - middle) - values[run.first])))
