"""In which order do day, month and year stand, and on what evidence?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.clock.forms import DAY_NS, SECOND_NS, Stamp

__all__ = ["DATE_ORDERS", "Days", "days_of"]

DATE_ORDERS = ("day first", "month first", "year first")

_FEW = 3
"""Least number of steps within a day that show how regular a log is."""


@dataclass(frozen=True)
class Days:
    """The day of every row (``date.toordinal``), whether the first is certain, and what was noticed."""

    days: tuple[int, ...]
    certain: bool
    notes: tuple[str, ...] = ()


def days_of(stamps: Sequence[Stamp], date_order: str | None, place: Callable[[int], str]) -> Days:
    """Return the days of stamps with a date; ``date_order`` as a layout states it, None to find it.

    The column decides as a whole: an order in which some row has no date is out. Of several that are left, one
    is taken when all give the same elapsed time, when only one carries the regular step of the log over the change
    of date, or when the parts of the date are parted by full stops and its year has four digits (day
    first; common practice, no source). Raises ``ReadingError`` otherwise, and where no order fits.
    """
    notes = ("years of two digits read as 20..",) if any(s.short_year for s in stamps) else ()
    open_rows = [row for row, s in enumerate(stamps) if s.numbers is not None]
    if not open_rows:
        return Days(tuple(s.day or 0 for s in stamps), True, notes)
    if date_order is not None:
        days = _in_order(stamps, date_order)
        if isinstance(days, int):
            raise _no_date(stamps[days], date_order, place(days))
        return Days(days, True, (*notes, f"dates read {date_order}, as stated"))
    short = any(stamps[row].short_year for row in open_rows)
    tried = {order: _in_order(stamps, order) for order in (DATE_ORDERS if short else DATE_ORDERS[:2])}
    possible = {order: days for order, days in tried.items() if not isinstance(days, int)}
    if not possible:
        day_first = tried["day first"]
        row = day_first if isinstance(day_first, int) else open_rows[0]
        raise _no_date(stamps[row], "any order that the other rows allow", place(row))
    if len(possible) == 1:
        ((order, days),) = possible.items()
        out = next(o for o in tried if o != order)
        against = tried[out]
        at = place(against) if isinstance(against, int) else ""
        return Days(days, True, (*notes, f"dates read {order}: no date {out} at {at}"))
    return _decided(stamps, possible, notes, place, open_rows)


def _decided(
    stamps: Sequence[Stamp], possible: dict[str, tuple[int, ...]], notes: tuple[str, ...],
    place: Callable[[int], str], open_rows: Sequence[int],
) -> Days:  # fmt: skip
    orders = " or ".join(possible)
    stops = all(stamps[row].mark == "." and not stamps[row].short_year for row in open_rows)
    if stops and "day first" in possible:
        return Days(possible["day first"], True, (*notes, "dates read day first: full stops between the numbers"))
    elapsed = {order: tuple(day - days[0] for day in days) for order, days in possible.items()}
    if len(set(elapsed.values())) == 1:
        note = f"dates may be {orders}: the elapsed time is the same, the date of the start is not known"
        return Days(next(iter(possible.values())), False, (*notes, note))
    going_on = [order for order, days in possible.items() if _goes_on(stamps, days)]
    if len(going_on) == 1:
        note = f"dates read {going_on[0]}: only so does the regular step go on over the change of date"
        return Days(possible[going_on[0]], True, (*notes, note))
    first, change = open_rows[0], next(r for r in open_rows if stamps[r].numbers != stamps[open_rows[0]].numbers)
    raise ReadingError(
        f"dates that may be {orders}, with another elapsed time each", where=place(change),
        found=Said(f"{_written(stamps[first])} and {_written(stamps[change])}"),
        allowed="dates in one order that the file itself shows", cure='state date_order = "day first" (or another) in '
        "a layout",
    )  # fmt: skip


def _in_order(stamps: Sequence[Stamp], order: str) -> tuple[int, ...] | int:
    """Return the days read in ``order``, or the first row that has no such date."""
    days: list[int] = []
    known: dict[tuple[int, int, int], int] = {}
    for row, stamp in enumerate(stamps):
        if stamp.numbers is None:
            days.append(stamp.day or 0)
            continue
        if stamp.numbers not in known:
            a, b, c = stamp.numbers
            day, month, year = {"day first": (a, b, c), "month first": (b, a, c), "year first": (c, b, a)}[order]
            try:
                if order == "year first" and not stamp.short_year:
                    return row
                known[stamp.numbers] = date(year + (2000 if stamp.short_year else 0), month, day).toordinal()
            except ValueError:
                return row
        days.append(known[stamp.numbers])
    return tuple(days)


def _goes_on(stamps: Sequence[Stamp], days: Sequence[int]) -> bool:
    """Return whether the steps over a change of date are like the regular steps within a day."""
    first = days[0]
    time_s = np.array([((d - first) * DAY_NS + s.ns) / SECOND_NS for d, s in zip(days, stamps, strict=True)])
    steps, change = np.diff(time_s), np.diff(np.asarray(days)) != 0
    within = steps[~change & (steps != 0)]
    if within.size < _FEW:
        return False
    typical = float(np.median(within))
    regular = float(np.mean(np.abs(within - typical) <= 0.5 * abs(typical))) >= 0.9
    return regular and bool(np.all((steps[change] / typical >= 0) & (steps[change] / typical <= 3)))


def _written(stamp: Stamp) -> str:
    a, b, c = stamp.numbers or (0, 0, 0)
    return f"{a:02d}{stamp.mark}{b:02d}{stamp.mark}{c:02d}"


def _no_date(stamp: Stamp, order: str, where: str) -> ReadingError:
    return ReadingError(
        f"no such date in {order}", where=where, found=_written(stamp), allowed="one order for the whole column",
        cure="state another date_order in a layout, or pass the line over: skip_lines = { 17 = \"reason\" }",
    )  # fmt: skip
