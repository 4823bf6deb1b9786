"""Do rows stand in a file twice?"""

from __future__ import annotations

import numpy as np

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.equal_rows import EqualRun, equal_blocks, number_columns
from aotf_lab.reading.sanity.scatter import Floats, chance_limit, numbers
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["copied_rows"]

_SLOW_METERS = 0.05


def copied_rows(readings: Readings) -> tuple[Suspicion, ...]:
    """Return the rows that are equal to earlier ones in every number, and improbably so.

    Readings of one file. Equal time as well is counted as one more coincidence; without a column ``time_s``, or with
    times that go on, the other columns must do, and settings that repeat count for nothing. Where more than 5 % of
    the rows equal the row before, the logger asks faster than the meters measure, and such pairs are no copies.
    """
    columns = number_columns(readings)
    if not columns or len(readings.table) < 5:
        return ()
    adjacent = _equal_to_the_row_before(readings, columns)
    slow = adjacent > max(2.0, _SLOW_METERS * len(readings.table))
    time = numbers(readings.table["time_s"]) if "time_s" in readings.table.columns else None
    repeats = 0 if time is None else time.size - np.unique(time).size
    most = 1.0 if repeats else chance_limit(1)  # only equal times make a likely run improbable
    runs = equal_blocks(readings, readings, columns, within=True, most=most)
    pairs: dict[int, int] = {}
    for run in runs:
        if slow and all(b == a + 1 for a, b in zip(run.first, run.second, strict=True)) and adjacent > len(run.second):
            continue
        if run.chance * _time_chance(time, repeats, run) <= chance_limit(1):
            for a, b in zip(run.first, run.second, strict=True):
                pairs.setdefault(b, a)
    return (_copied(readings, pairs),) if pairs else ()


def _equal_to_the_row_before(readings: Readings, columns: list[str]) -> int:
    """Return how many rows show the numbers of the row before, blank cells alike."""
    table = np.stack([numbers(readings.table[c]) for c in columns], axis=1)
    same = (table[1:] == table[:-1]) | (np.isnan(table[1:]) & np.isnan(table[:-1]))
    return int(np.sum(same.all(axis=1) & np.isfinite(table[1:]).any(axis=1)))


def _time_chance(time: Floats | None, repeats: int, run: EqualRun) -> float:
    """Return how probable it is that the times of the two runs are equal too, 1 where they are not.

    ``repeats``: how many rows of the file show a time that an earlier one shows.
    """
    if time is None or time[run.first[0]] != time[run.second[0]]:
        return 1.0
    if not np.array_equal(time[list(run.first)], time[list(run.second)]):
        return 1.0
    return max(1.0 / time.size**2, (repeats - len(run.second)) / time.size)


def _copied(readings: Readings, pairs: dict[int, int]) -> Suspicion:
    rows = sorted(pairs)
    sources = sorted({pairs[r] for r in rows} - set(rows)) or sorted({pairs[r] for r in rows})
    times = " and time" if "time_s" in readings.table.columns and _same_time(readings, pairs) else ""
    return Suspicion(
        "rows stand twice", lines_of(readings, rows),
        f"{len(rows)} rows equal to {lines_of(readings, sources)} in {', '.join(number_columns(readings))}{times}",
        "a block was pasted twice, or a log was written twice", "pass these lines over",
        tuple(rows), unusable=len(rows) > len(readings.table) / 4,
    )  # fmt: skip


def _same_time(readings: Readings, pairs: dict[int, int]) -> bool:
    time = numbers(readings.table["time_s"])
    return all(time[a] == time[b] for b, a in pairs.items())
