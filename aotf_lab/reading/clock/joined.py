"""Two logs of one run, kept on two clocks, joined to one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.accuracy import noted
from aotf_lab.reading.clock.pairs import nearest_pairs
from aotf_lab.reading.clock.shift import difference_of_starts, estimated_offset, log_names
from aotf_lab.reading.readings import Readings

FloatArray = NDArray[np.float64]
Rows = NDArray[np.intp]

__all__ = ["JoinedLogs", "join_logs"]

_OWN = ("time_s", "file", "line", "second_file", "second_line", "second_time_s")


@dataclass(frozen=True)
class JoinedLogs:
    """The joined table, and on what ground rows were put together.

    ``readings`` are the rows of the first log that have a partner, with the columns of the second;
    ``second_file``, ``second_line`` and ``second_time_s`` (on the clock of the first) name the partner. clock(first)
    = clock(second) + ``offset_s``, where a clock is the absolute time when both receipts state a start, else
    ``time_s``: a float as stated, or estimated with its u. ``how`` says how; ``unmatched_first``
    and ``unmatched_second`` are the places of the rows left alone.
    """

    readings: Readings
    offset_s: UFloat | float
    how: str
    tolerance_s: float
    unmatched_first: tuple[str, ...] = ()
    unmatched_second: tuple[str, ...] = ()

    def __str__(self) -> str:
        offset = f"{self.offset_s:+.3f}" if isinstance(self.offset_s, float) else f"{self.offset_s:+.1uS}"
        lines = [
            f"{len(self.readings.table)} rows joined within {self.tolerance_s:g} s; clock of the second {offset} s",
            f"  {self.how}",
        ]
        for which, places in (("first", self.unmatched_first), ("second", self.unmatched_second)):
            if places:
                lines.append(f"  {len(places)} rows of the {which} log without a partner: {_some(places)}")
        return text_lines(lines)


def join_logs(
    first: Readings, second: Readings, *, tolerance_s: float, offset_s: float | None = None,
    max_offset_s: float | None = None, lag_s: float = 0.0,
) -> JoinedLogs:  # fmt: skip
    """Return the rows of ``first`` with the columns of ``second`` nearest in time, one to one.

    ``tolerance_s`` (s) is how far apart two rows of one moment may be; ``offset_s`` what is added to the
    clock of ``second``. Left out, it is estimated by cross-correlation: of a quantity that both hold,
    else of the activity of what one sets against what the other answers. Then ``max_offset_s`` bounds it, and
    ``lag_s`` states the first-order lag (s) of the meter that answers (of ``second`` where both hold one quantity). A
    lag that is not stated makes that clock look late: by nearly all of the lag where one quantity is
    compared, by a quarter to a half of it in activity (benchmark clock_offset). A row of settings counts from
    its time on and meets the answer of that moment, which may not have settled; a constant delay of the
    stamps goes into the offset. A column that both hold is taken from ``first``.

    Raises ``ReadingsError`` for a tolerance above half the median step of ``second`` (the wrong row would
    do), logs without time or overlap, and an offset that is ambiguous or cannot be told.
    """
    for readings in (first, second):
        readings.require("time_s")
    _check_tolerance(second, tolerance_s)
    shift_s, said = difference_of_starts(first, second)
    offset: UFloat | float
    if offset_s is not None:
        offset, how = float(offset_s), "offset as stated"
    else:
        offset, how = estimated_offset(first, second, shift_s, max_offset_s, lag_s)
    how = "; ".join(filter(None, (how, said)))
    added = (offset if isinstance(offset, float) else float(offset.n)) + shift_s
    first_s, second_s = (r.table["time_s"].to_numpy(dtype=float) for r in (first, second))
    rows, partners = nearest_pairs(first_s, second_s + added, tolerance_s)
    if not rows.size:
        raise _no_overlap(first, second, first_s, second_s + added, tolerance_s)
    if not isinstance(offset, float) and offset.s > tolerance_s:
        how += f"; its u of {offset.s:.2g} s is above the tolerance: a row may have its neighbour's partner"
    readings = _table(first, second, rows, partners, second_s + added)
    joined = JoinedLogs(readings, offset, how, tolerance_s, _others(first, rows), _others(second, partners))
    return replace(joined, readings=noted(readings, str(joined).replace("\n ", ";"))) if readings.receipts else joined


def _check_tolerance(second: Readings, tolerance_s: float) -> None:
    time_s = np.sort(second.table["time_s"].dropna().to_numpy(dtype=float))
    steps = np.diff(time_s)
    half = float(np.median(steps[steps > 0])) / 2 if np.any(steps > 0) else np.inf
    if not 0 < tolerance_s <= half:
        raise ReadingsError(
            "a tolerance in time at which the wrong row could be taken" if tolerance_s > half else "no tolerance",
            where=log_names(second), found=Said(f"tolerance_s = {tolerance_s:g}"),
            allowed=f"above 0, up to {half:.4g} s: half the median step of the second log",
            cure="state a smaller tolerance_s, or exchange the two logs",
        )  # fmt: skip


def _no_overlap(
    first: Readings, second: Readings, first_s: FloatArray, second_s: FloatArray, tolerance_s: float
) -> ReadingsError:
    spans = [f"{np.nanmin(t):.6g} to {np.nanmax(t):.6g} s" for t in (first_s, second_s)]
    return ReadingsError(
        "no row of the two logs within the tolerance", where=f"{log_names(first)} and {log_names(second)}",
        found=Said(f"{spans[0]} and {spans[1]} on the clock of the first"),
        allowed=f"at least one pair within {tolerance_s:g} s",
        cure="correct offset_s, or leave it out to have it found",
    )  # fmt: skip


def _table(first: Readings, second: Readings, rows: Rows, partners: Rows, second_s: FloatArray) -> Readings:
    left = first.table.iloc[rows].reset_index(drop=True)
    right = second.table.iloc[partners].reset_index(drop=True)
    held = set(left.columns)
    taken = [c for c in right.columns if c not in held and c not in _OWN and c.removeprefix("u_") not in held]
    extra = {f"second_{c}": right[c] for c in ("file", "line") if c in right.columns}
    table = pd.concat([left, right[taken]], axis=1).assign(**extra, second_time_s=second_s[partners])
    common = first.common + tuple(e for e in second.common if e.column in taken and e not in first.common)
    return Readings(table, common, first.receipts + second.receipts, first.sources + second.sources)


def _others(readings: Readings, rows: Rows) -> tuple[str, ...]:
    alone = np.setdiff1d(np.arange(len(readings.table)), rows)
    return tuple(readings.place(int(k)) for k in alone)


def _some(places: Sequence[str]) -> str:
    shown = ", ".join(places[:5])
    return shown if len(places) <= 5 else f"{shown}, ... {places[-1]}"
