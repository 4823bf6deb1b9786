"""One column of a log as a signal on a steady grid of time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice, product
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from aotf_lab.reading.readings import Readings

__all__ = ["Comparison", "Track", "activity", "comparisons", "lagged", "level", "track_of"]

FloatArray = NDArray[np.float64]

_SET = ("drive_v", "frequency_mhz", "supply_v", "rf_level_vrms", "rf_level_dbm", "rf_power_w")
"""What a bench sets step by step, in the order in which one is taken for the other log's cause."""
_ANSWERS = ("optical_power_mw", "efficiency", "rf_power_w", "rf_level_vrms", "rf_level_dbm", "frequency_mhz")
_NO_QUANTITY = ("time_s", "line", "second_line", "second_time_s")
_FEWEST = 8
"""Least number of readings from which an offset is estimated."""


@dataclass(frozen=True)
class Track:
    """The readings of one column in order of time.

    ``staged`` says how a row is taken: as a setting, which holds from its time on, or as a sample, so
    that the value changed somewhere between two rows.
    """

    column: str
    time_s: FloatArray
    values: FloatArray
    staged: bool = False

    @property
    def step_s(self) -> float:
        """Median step of time (s) between rows that differ in time."""
        steps = np.diff(self.time_s)
        return float(np.median(steps[steps > 0]))


def track_of(readings: Readings, column: str) -> Track | None:
    """Return the column as a track, None when it does not move or has fewer than eight readings."""
    table = readings.table
    time_s, values = (table[c].to_numpy(dtype=float) for c in ("time_s", column))
    order = np.argsort(time_s, kind="stable")
    order = order[np.isfinite(time_s[order]) & np.isfinite(values[order])]
    time_s, values = time_s[order], values[order]
    if len(time_s) < _FEWEST or np.ptp(values) == 0 or time_s[-1] == time_s[0]:
        return None
    return Track(column, time_s, values)


def _as_settings(track: Track) -> Track:
    """Return the track as settings when most of its rows are a new one: a staircase, or any change as large as most.

    A sampled staircase stays as it is: between its few steps it moves not at all, or by noise, to and fro.
    """
    changes = np.diff(track.values)
    moving = changes[changes != 0]
    if len(moving) < 0.5 * len(changes) or len(moving) < 2:
        return track
    same_way = float(np.mean(moving[1:] * moving[:-1] > 0))
    alike = float(np.median(np.abs(moving))) > 0.1 * float(np.max(np.abs(moving)))
    return replace(track, staged=same_way > 0.6 or alike)


@dataclass(frozen=True)
class Comparison:
    """Two tracks that may tell the offset: by their "level" when both are one quantity, else by "activity".

    ``cause`` is of the first log, and ``answer`` of the second, unless ``swapped``. Only a cause can be a track of
    settings.
    """

    cause: Track
    answer: Track
    kind: Literal["level", "activity"]
    swapped: bool = False

    def __str__(self) -> str:
        of = self.cause.column if self.kind == "level" else f"{self.cause.column} and {self.answer.column}"
        return f"{self.kind} of {of}"


def comparisons(first: Readings, second: Readings) -> list[Comparison]:
    """Return what may tell the offset, best first.

    Columns that both logs hold come first; then what one log sets against what the other answers.
    """
    one, two = _tracks(first), _tracks(second)
    found = [_by_level(one[c], two[c]) for c in one if c in two]
    for causes, answers, swapped in ((one, two, False), (two, one, True)):
        kinds = ((a, b) for a, b in product(_SET, _ANSWERS) if a in causes and b in answers and a != b)
        found += [Comparison(_as_settings(causes[a]), answers[b], "activity", swapped) for a, b in islice(kinds, 1)]
    return found


def _by_level(one: Track, two: Track) -> Comparison:
    """Return two tracks of one quantity: the one with far fewer rows may be settings, which the other followed."""
    swapped = two.step_s > one.step_s
    slow, fast = (two, one) if swapped else (one, two)
    return Comparison(_as_settings(slow) if slow.step_s > 2 * fast.step_s else slow, fast, "level", swapped)


def _tracks(readings: Readings) -> dict[str, Track]:
    columns = [
        c for c in readings.table.select_dtypes("number").columns if c not in _NO_QUANTITY and not c.startswith("u_")
    ]
    return {c: track for c in columns if (track := track_of(readings, c)) is not None}


def level(track: Track, grid_s: FloatArray) -> FloatArray:
    """Return the value at every time of the grid: held where staged, else between the samples."""
    if track.staged:
        return np.asarray(track.values[np.clip(np.searchsorted(track.time_s, grid_s, side="right") - 1, 0, None)])
    return np.interp(grid_s, track.time_s, track.values)


def activity(track: Track, grid_s: FloatArray) -> FloatArray:
    """Return how much the value moves in each cell of the grid (one fewer than ``grid_s``), summed without sign."""
    moved = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(track.values)))])
    return np.diff(level(Track(track.column, track.time_s, moved, track.staged), grid_s))


def lagged(signal: FloatArray, cell_s: float, lag_s: float) -> FloatArray:
    """Return what a first-order lag makes of a signal that is steady within each cell, as means over the cells.

    The weights are the integrals of exp(-t / lag) / lag over the cells, so that their mean delay is the lag.
    """
    if lag_s <= 0:
        return signal
    q, share = np.exp(-cell_s / lag_s), lag_s / cell_s
    now, after = 1.0 - share * (1.0 - q), share * (1.0 - q) ** 2
    return np.asarray(lfilter([now, after - now * q], [1.0, -q], signal - signal[0]) + signal[0])
