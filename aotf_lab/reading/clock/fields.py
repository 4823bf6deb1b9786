"""What do times without a date mean: a time of day, or a count from a start; hours first, or minutes?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.clock.course import Nature
from aotf_lab.reading.clock.forms import SECOND_NS, Stamp

__all__ = ["clock_form", "times_without_date"]

TwoFields = Literal["", "h:mm", "mm:ss"]
_FORMS: dict[str, TwoFields] = {
    "h:mm": "h:mm", "hh:mm": "h:mm", "h:m": "h:mm", "h:min": "h:mm", "hh:min": "h:mm",
    "mm:ss": "mm:ss", "m:ss": "mm:ss", "m:s": "mm:ss", "min:s": "mm:ss", "min:sec": "mm:ss", "min:ss": "mm:ss",
}  # fmt: skip


def clock_form(text: str) -> TwoFields:
    """Return what two fields are where a heading or a layout says it as a unit, "" where it does not.

    >>> clock_form("hh:mm"), clock_form("mm:ss.0"), clock_form("hh:mm:ss"), clock_form("MHz")
    ('h:mm', 'mm:ss', '', '')
    """
    return _FORMS.get(text.lower().replace(" ", "").rstrip(".,0f"), "")


def times_without_date(
    stamps: Sequence[Stamp], place: Callable[[int], str], form: TwoFields
) -> tuple[list[int], Nature, tuple[str, ...]]:
    """Return the ns of every stamp, what such a time can do, and notes.

    Raises ``ReadingError`` where two fields may be hours and minutes, or minutes and seconds.
    """
    notes: list[str] = []
    if any(s.kind == "time of two fields" and not s.certain for s in stamps):
        form, note = _two_fields(stamps, place, form)
        notes.append(note)
    ns = [_ns(stamp, form) for stamp in stamps]
    clock = any(s.certain == "clock" for s in stamps)
    counter = any(s.certain == "counter" for s in stamps) or form == "mm:ss"
    if clock and counter:
        row = next(r for r, s in enumerate(stamps) if s.certain != stamps[0].certain)
        raise ReadingError(
            "times of day and counted times in one column", where=place(row), found=Said(stamps[row].kind),
            allowed="one kind", cure=f"{pass_over(place(row))}, and each line like it",
        )  # fmt: skip
    if ns[0] != 0:
        notes.append(f"time counted from the first reading, which stands at {_spoken(ns[0])}")
    return ns, Nature(of_day=not counter, counts=not clock, summer=not counter), tuple(notes)


def _two_fields(stamps: Sequence[Stamp], place: Callable[[int], str], form: TwoFields) -> tuple[TwoFields, str]:
    two = [row for row, s in enumerate(stamps) if s.kind == "time of two fields" and not s.certain]
    with_decimals = next((row for row in two if stamps[row].fraction), None)
    beyond_a_day = next((row for row in two if (stamps[row].numbers or (0,))[0] > 23), None)
    if with_decimals is not None:
        if form == "h:mm":
            raise ReadingError(
                "decimals after h:mm", where=place(with_decimals), found=Said(_written(stamps[with_decimals])),
                allowed="hours and minutes without decimals", cure='state the unit "mm:ss" of this column in a layout',
            )  # fmt: skip
        return "mm:ss", f"two fields read as mm:ss: decimals at {place(with_decimals)}"
    if form:
        return form, f"two fields read as {form}, as stated"
    if any(s.certain == "clock" for s in stamps):
        return "h:mm", "two fields read as h:mm: AM or PM stands in the column"
    if beyond_a_day is not None:
        said = _written(stamps[beyond_a_day])
        return "mm:ss", f"two fields read as mm:ss: {said} at {place(beyond_a_day)} is no time of day"
    raise ReadingError(
        "two fields that may be h:mm or mm:ss, a factor of 60 apart", where=place(two[0]),
        found=Said(_written(stamps[two[0]])), allowed="a heading such as 'Time (hh:mm)' or 'Time (mm:ss)'",
        cure='state the unit "hh:mm" or "mm:ss" of this column in a layout',
    )  # fmt: skip


def _ns(stamp: Stamp, form: TwoFields) -> int:
    if stamp.kind != "time of two fields" or stamp.certain or form != "mm:ss":
        return stamp.ns
    minutes, seconds, decimals_ns = stamp.numbers or (0, 0, 0)
    return (minutes * 60 + seconds) * SECOND_NS + decimals_ns


def _written(stamp: Stamp) -> str:
    first, second, decimals_ns = stamp.numbers or (0, 0, 0)
    tail = f"{decimals_ns / SECOND_NS:.9f}".rstrip("0")[1:] if decimals_ns else ""
    return f"{first:02d}:{second:02d}{tail}"


def _spoken(ns: int) -> str:
    seconds = abs(ns) / SECOND_NS
    hours, rest = divmod(seconds, 3600)
    minutes, seconds = divmod(rest, 60)
    return f"{'-' if ns < 0 else ''}{int(hours)}:{int(minutes):02d}:{seconds:06.3f}".removesuffix(".000")
