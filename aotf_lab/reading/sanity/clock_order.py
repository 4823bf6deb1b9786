"""Does time run forwards, and does each reading have a time of its own?"""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["disordered_time"]

_COARSE = 0.2
"""Above this share of equal steps the clock is shown too coarsely for the readings, and says nothing."""


def disordered_time(readings: Readings, explained: Collection[int] = ()) -> tuple[Suspicion, ...]:
    """Return what is wrong with the order of ``time_s``: reversed as a whole, steps back, or times used twice.

    Readings of one file, in the order of the file. A clock that shows two readings in a row alike
    because it is coarse is no fault: equal times count only where few steps are equal. Rows in
    ``explained`` (0-based) are passed over.
    """
    if "time_s" not in readings.table.columns or len(readings.table) < 2:
        return ()
    time = readings.table["time_s"].to_numpy(dtype=float)
    usable = np.isfinite(time)
    usable[list(explained)] = False
    known = np.flatnonzero(usable)
    step = np.diff(time[known])
    if step.size < 1:
        return ()
    if step.size > 1 and np.all(step <= 0) and np.any(step < 0):
        return (_reversed(readings, known, step),)
    back = known[1:][step < 0]
    same = known[1:][step == 0] if np.mean(step == 0) <= _COARSE else known[:0]
    return (*_backwards(readings, time, back), *_twice(readings, time, same))


def _reversed(readings: Readings, rows: np.ndarray, step: np.ndarray) -> Suspicion:
    return Suspicion(
        "time runs backwards from the first row to the last",
        lines_of(readings, rows.tolist()),
        f"{np.sum(step < 0)} of {step.size} steps are negative, {np.median(step):.6g} s in the middle",
        "the table was sorted downwards, or is written newest first",
        "read the rows in the other order: a lag or a drift changes its sign with time",
        tuple(rows.tolist()),
        unusable=True,
    )


def _backwards(readings: Readings, time: np.ndarray, rows: np.ndarray) -> tuple[Suspicion, ...]:
    if not rows.size:
        return ()
    first = int(rows[0])
    before = time[:first][np.isfinite(time[:first])][-1]
    return (
        Suspicion(
            "time steps back", lines_of(readings, rows.tolist()),
            f"{time[first]:.6g} s after {before:.6g} s"
            + (f", and {rows.size - 1} more steps back" if rows.size > 1 else ""),
            "the clock was restarted, rows were moved, or two runs stand in one file",
            "read the runs as files of their own, or state in the layout which lines to pass over",
            tuple(rows.tolist()), unusable=True,
        ),
    )  # fmt: skip


def _twice(readings: Readings, time: np.ndarray, rows: np.ndarray) -> tuple[Suspicion, ...]:
    if not rows.size:
        return ()
    return (
        Suspicion(
            "a time stands twice", lines_of(readings, rows.tolist()), f"{time[rows[0]]:.6g} s in two rows that follow",
            "a row was copied, or written twice by the logger", "compare the rows; pass the second one over",
            tuple(rows.tolist()),
        ),
    )  # fmt: skip
