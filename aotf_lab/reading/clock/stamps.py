"""What time does each row of a log have, counted from its first reading?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.cells.marks import fill_dittos, is_gap, missing_mark
from aotf_lab.reading.clock.course import Course, Nature, course_of
from aotf_lab.reading.clock.dates import days_of
from aotf_lab.reading.clock.fields import clock_form, times_without_date
from aotf_lab.reading.clock.forms import DAY_NS, SECOND_NS, NoSuchTimeError, Stamp, looks_like_stamp, parse_stamp

__all__ = ["Clock", "counted_seconds", "is_clock", "seconds_of"]

Place = Callable[[int], str]
_EPOCH_DAY = datetime(1970, 1, 1).toordinal()
_ALLOWED = "2026-03-29T14:03:05, 29.03.2026 14:03:05, 14:03:05, 00:12:03.5, 1d 02:03:04 or Unix seconds"


@dataclass(frozen=True)
class Clock:
    """The times of a column.

    ``time_s`` (s, one per row) counts from the first row that has a time, NaN in rows without one; ``start`` is
    the clock time of that row (naive where no zone is stated, None without a date, or where its order
    is open). ``rejected`` and ``flagged`` hold a reason per row, "" for none. ``segments`` are the
    rows (first, end) between restarts of a counter; between two of them the gap is not known.
    """

    time_s: NDArray[np.float64]
    start: datetime | None
    rejected: tuple[str, ...]
    flagged: tuple[str, ...]
    notes: tuple[str, ...] = ()
    segments: tuple[tuple[int, int], ...] = ()


def is_clock(cell: str) -> bool:
    """Return whether a cell of a column of time is a stamp and not a number of seconds.

    Also true for a form of which no such time exists, so that ``seconds_of`` can say so. Numbers of
    10, 13, 16 or 19 digits are Unix times, as long as the heading gives no unit in which they are fewer than
    10^9 seconds.

    >>> is_clock("29.03.2026 14:03:05"), is_clock("12,5"), is_clock("1774792985")
    (True, False, True)
    """
    return looks_like_stamp(cell)


def seconds_of(cells: Sequence[str], place: Place, date_order: str | None = None, form: str = "") -> Clock:
    """Return the times of a column of stamps.

    ``place`` gives ``file:line, column`` of a row; ``date_order`` is that of a layout; ``form`` says what two
    fields mean, as the unit of a heading does: "hh:mm" or "mm:ss" (see ``fields.clock_form``).

    Raises ``ReadingError`` for text, times that do not exist, a date alone, two kinds of stamps in one column,
    and what may be read in two ways with another elapsed time each.
    """
    stamps, rejected, flagged = _stamps(cells, place)
    rows = [row for row, stamp in enumerate(stamps) if stamp is not None]
    held = [stamp for stamp in stamps if stamp is not None]
    time_s = np.full(len(cells), np.nan)
    if not held:
        return Clock(time_s, None, tuple(rejected), tuple(flagged))

    def where(k: int) -> str:
        return place(rows[k])

    _one_kind(held, where)
    ns, start, nature, notes = _read(held, where, date_order, form)
    zero = 0 if nature.counts or nature.of_day else ns[0]
    course = course_of(np.array([(t - zero) / SECOND_NS for t in ns]), nature, _line_of(where))
    shift_ns = [round(s * SECOND_NS) for s in course.shift_s]
    time_s[rows] = [(t + s - ns[0] - shift_ns[0]) / SECOND_NS for t, s in zip(ns, shift_ns, strict=True)]
    for k, why in course.flagged.items():
        flagged[rows[k]] = "; ".join(filter(None, (flagged[rows[k]], why)))
    return Clock(time_s, start, tuple(rejected), tuple(flagged), (*notes, *course.notes),
                 _segments(course, rows, len(cells)))  # fmt: skip


def counted_seconds(time_s: NDArray[np.float64], place: Place) -> Clock:
    """Return the times of a column of plain seconds (NaN for none): kept as they are, restarts laid end to end."""
    rows = np.flatnonzero(~np.isnan(time_s)).tolist()
    course = course_of(time_s[rows], Nature(counts=True), _line_of(lambda k: place(rows[k])))
    steady, flagged = time_s.copy(), [""] * len(time_s)
    steady[rows] += course.shift_s
    for k, why in course.flagged.items():
        flagged[rows[k]] = why
    return Clock(steady, None, ("",) * len(time_s), tuple(flagged), tuple(course.notes),
                 _segments(course, rows, len(time_s)))  # fmt: skip


def _stamps(cells: Sequence[str], place: Place) -> tuple[list[Stamp | None], list[str], list[str]]:
    stamps: list[Stamp | None] = []
    rejected, flagged = [""] * len(cells), [""] * len(cells)
    for row, cell in enumerate(fill_dittos(cells, place)[0]):
        stamp, mark = None, missing_mark(cell)
        if is_gap(cell):
            flagged[row] = "no time"
        elif mark:
            rejected[row] = mark
        else:
            stamp = _stamp(cell, row, place)
            flagged[row] = stamp.doubt
        stamps.append(stamp)
    return stamps, rejected, flagged


def _stamp(cell: str, row: int, place: Place) -> Stamp:
    cure = pass_over(place(row))
    try:
        stamp = parse_stamp(cell)
    except NoSuchTimeError as error:
        raise ReadingError(
            f"a time that does not exist: {error}", where=place(row), found=cell, allowed=_ALLOWED, cure=cure
        ) from None
    if stamp is None:
        raise ReadingError("text in a column of times", where=place(row), found=cell, allowed=_ALLOWED, cure=cure)
    if stamp.kind == "date alone":
        raise ReadingError(
            "a date without a time of day: the elapsed time is open by a day", where=place(row), found=cell,
            allowed=_ALLOWED, cure="name the column of the time of day, or pass this one over (not_used) in a layout",
        )  # fmt: skip
    return stamp


def _family(stamp: Stamp) -> str:
    """Return what rows of one column must share."""
    if stamp.kind == "date and time":
        return "date and time with a zone" if stamp.zone_s is not None else "local date and time"
    if stamp.kind == "Unix time":
        return f"Unix time in {stamp.mark}"
    return "time without a date"


def _one_kind(stamps: Sequence[Stamp], place: Place) -> None:
    kind = _family(stamps[0])
    other = next((k for k, stamp in enumerate(stamps) if _family(stamp) != kind), None)
    if other is not None:
        raise ReadingError(
            "two kinds of stamps in one column", where=place(other), found=Said(_family(stamps[other])),
            allowed=f"{kind}, as above it", cure=f"{pass_over(place(other))}, and each line like it",
        )  # fmt: skip


def _read(
    stamps: Sequence[Stamp], place: Place, date_order: str | None, form: str
) -> tuple[list[int], datetime | None, Nature, tuple[str, ...]]:
    """Return the ns of every stamp, the start, what the time can do, and notes."""
    first = stamps[0]
    if first.kind == "Unix time":
        note = f"Unix time in {first.mark}, counted from the first reading"
        return [s.ns for s in stamps], _moment(_EPOCH_DAY, first.ns, 0), Nature(), (note,)
    if first.kind != "date and time":
        ns, nature, notes = times_without_date(stamps, place, clock_form(form))
        return ns, None, nature, notes
    days = days_of(stamps, date_order, place)
    local = [day * DAY_NS + s.ns for day, s in zip(days.days, stamps, strict=True)]
    start = _moment(days.days[0], first.ns, first.zone_s) if days.certain else None
    if first.zone_s is None:

        def moment(k: int) -> datetime:
            return _moment(days.days[k], stamps[k].ns, None)

        return local, start, Nature(summer=True, local=moment if days.certain else None), days.notes
    zones = sorted({s.zone_s or 0 for s in stamps})
    notes = (f"{len(zones)} zones, each taken off: the time runs in UTC",) if len(zones) > 1 else ()
    utc = [t - (s.zone_s or 0) * SECOND_NS for t, s in zip(local, stamps, strict=True)]
    return utc, start, Nature(), (*days.notes, *notes)


def _moment(day: int, ns: int, zone_s: int | None) -> datetime:
    moment = datetime.fromordinal(day) + timedelta(microseconds=ns // 1000)
    if zone_s is None:
        return moment
    return moment.replace(tzinfo=UTC if zone_s == 0 else timezone(timedelta(seconds=zone_s)))


def _line_of(place: Place) -> Place:
    """Return ``place`` without the column, for notes."""
    return lambda row: place(row).split(", column")[0]


def _segments(course: Course, rows: Sequence[int], count: int) -> tuple[tuple[int, int], ...]:
    starts = [0, *(rows[k] for k in course.restarts)]
    return tuple(zip(starts, [*starts[1:], count], strict=True))
