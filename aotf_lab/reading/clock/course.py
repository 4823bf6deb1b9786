"""How does the time run down a column: past midnight, from a restart, backward, over a change of clocks?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.clock.summer import change_of_clock

__all__ = ["Course", "Nature", "course_of"]

_DAY_S, _HOUR_S = 86_400.0, 3_600.0
_SLOWEST_S = 1_200.0
"""Slowest regular step (s) at which a jump of an hour is told from a pause."""


@dataclass(frozen=True)
class Nature:
    """What a column's time can do: pass midnight (``of_day``), start again at zero (``counts``), and jump by an hour
    with summer time (``summer``; ``local`` is the local date and time of a row, None where no date is known)."""

    of_day: bool = False
    counts: bool = False
    summer: bool = False
    local: Callable[[int], datetime] | None = None


@dataclass
class Course:
    """What is to be added to each row (s), the rows in doubt, the notes, and the first row of every restart."""

    shift_s: NDArray[np.float64]
    flagged: dict[int, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    restarts: list[int] = field(default_factory=list)

    def add(self, row: int, shift_s: float) -> None:
        """Add ``shift_s`` to this row and all that follow."""
        self.shift_s[row:] += shift_s


def course_of(time_s: NDArray[np.float64], nature: Nature, place: Callable[[int], str]) -> Course:
    """Return how ``time_s`` (s, as the rows state it) runs; ``place`` names a row."""
    steps = np.diff(time_s)
    falling, rising = int(np.sum(steps < 0)), int(np.sum(steps > 0))
    if falling < 2 or falling <= rising:
        return _forward(time_s, nature, place)
    rows, local = len(time_s), nature.local
    mirrored = Nature(nature.of_day, False, nature.summer, None if local is None else lambda row: local(rows - 1 - row))
    back = _forward(time_s[::-1].copy(), mirrored, lambda row: place(rows - 1 - row))
    course = Course(back.shift_s[::-1].copy(), {rows - 1 - row: why for row, why in back.flagged.items()}, back.notes)
    course.notes.insert(0, "the time falls down the column: rows kept in the order of the file")
    return course


def _forward(time_s: NDArray[np.float64], nature: Nature, place: Callable[[int], str]) -> Course:
    course = Course(np.zeros(len(time_s)))
    steps = np.diff(time_s)
    rising = steps[steps > 0]
    typical = float(np.median(rising)) if rising.size else 0.0
    for j in np.flatnonzero(steps < 0):
        _backward(course, time_s, nature, place, int(j) + 1, float(steps[j]), typical)
    if nature.summer and _regular(steps, typical):
        near = np.abs(steps - _HOUR_S - typical) <= _slack(typical)
        for j in np.flatnonzero(near):
            _hour(course, nature.local, place, int(j) + 1, -_HOUR_S)
    elif nature.summer and nature.local is not None:
        for j in np.flatnonzero(np.abs(steps - _HOUR_S) <= _slack(_HOUR_S / 60.0)):
            change = change_of_clock(nature.local(int(j)), nature.local(int(j) + 1))
            if change:
                why = f"time jumps forward by an hour, {change}? Too few regular steps to tell it from a pause: kept"
                course.flagged[int(j) + 1] = why
    same = int(np.sum(steps == 0))
    if same:
        course.notes.append(f"{same} rows have the time of the row before: kept, their times are no finer")
    return course


def _backward(
    course: Course, time_s: NDArray[np.float64], nature: Nature, place: Callable[[int], str],
    row: int, step: float, typical: float,
) -> None:  # fmt: skip
    over_midnight = step + _DAY_S
    start = course.restarts[-1] if course.restarts else 0
    from_zero = 0 <= time_s[row] <= 2 * typical and 0 <= time_s[start] <= 2 * typical
    if nature.of_day and 0 <= over_midnight <= 3 * typical:
        course.add(row, _DAY_S)
        course.notes.append(f"midnight passed at {place(row)}: 24 h added from there on")
    elif nature.counts and from_zero:
        course.add(row, typical - step)
        course.restarts.append(row)
        course.flagged[row] = f"counter began anew at {time_s[row]:.6g} s: the gap before it is not known"
        course.notes.append(
            f"counter began anew at {place(row)}: laid end to end with a step of {typical:.6g} s, the true gap is not "
            "known, nor the time of the rows after it against those before"
        )
    elif nature.of_day and 0 <= over_midnight <= _DAY_S / 2:
        course.add(row, _DAY_S)
        course.flagged[row] = f"midnight taken as passed: the time falls by {-step:.6g} s"
        course.notes.append(
            f"midnight passed at {place(row)}: 24 h added from there on, a gap of {over_midnight:.6g} s"
        )
    elif nature.summer and abs(step + _HOUR_S - typical) <= _slack(typical) and _regular(np.diff(time_s), typical):
        _hour(course, nature.local, place, row, _HOUR_S)
    else:
        likely = change_of_clock(nature.local(row - 1), nature.local(row)) if nature.local is not None else ""
        course.flagged[row] = f"time runs back by {-step:.6g} s" + (f"; {likely}?" if likely else "")


def _hour(
    course: Course, local: Callable[[int], datetime] | None, place: Callable[[int], str], row: int, shift_s: float
) -> None:
    """Take a jump of an hour out when the date is one of a change of clocks; flag the row either way."""
    jump = "back" if shift_s > 0 else "forward"
    change = "" if local is None else change_of_clock(local(row - 1), local(row))
    if not change:
        date = "the date is not known" if local is None else "at no date of a change of clocks"
        course.flagged[row] = f"time jumps {jump} by an hour, {date}: kept as it stands"
        return
    course.add(row, shift_s)
    course.flagged[row] = f"time jumps {jump} by an hour: {change}"
    done = "added" if shift_s > 0 else "taken off"
    course.notes.append(f"{change} at {place(row)}: 1 h {done} from there on, as the other steps are regular")


def _slack(typical: float) -> float:
    return max(0.5 * typical, 1.0)


def _regular(steps: NDArray[np.float64], typical: float) -> bool:
    """Return whether at least three steps, and nine of ten that are no jump of an hour, are like the typical one."""
    others = steps[(steps != 0) & (np.abs(np.abs(steps) - _HOUR_S) > typical + _slack(typical))]
    like = np.abs(others - typical) <= _slack(typical)
    return 0 < typical <= _SLOWEST_S and int(like.sum()) >= 3 and float(like.mean()) >= 0.9
