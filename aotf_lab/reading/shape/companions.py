"""Columns that only complete another one: the date of a time of day, the unit of the number on its left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.shape.hints import Hints, unit_column_of
from aotf_lab.reading.words import plain_words

__all__ = ["with_companions"]

_DATES = ("date", "day", "calendar date", "datum", "tag")


def with_companions(found: Sequence[Heading], hints: Hints) -> list[Heading]:
    """Return the headings with dates joined to their clock and units to their number."""
    joined = list(found)
    for position, behind in unit_column_of([h.header for h in found], hints.cells).items():
        joined[position] = replace(joined[position], behind=behind)
        why = f"units of the column on its left, {joined[position].header!r}"
        joined[behind] = replace(joined[behind], column="", evidence=why, settled=True, own_unit=None)
    dates = [h for h in joined if plain_words(h.words or h.header) in _DATES and not h.column and not h.settled]
    dates = [h for h in dates if hints.is_clock(h.position)]
    clocks = [h for h in joined if h.column == "time_s"]
    if len(dates) == 1 and not clocks:
        date = dates[0]
        joined[date.position] = replace(
            date, column="time_s", evidence="a date in each row, stamps of a clock", clock=True
        )
    if len(dates) == 1 and len(clocks) == 1 and clocks[0].clock:
        date, clock = dates[0], clocks[0]
        joined[clock.position] = replace(clock, before=date.position)
        joined[date.position] = replace(date, evidence=f"date of the column {clock.header!r}", settled=True)
    return joined
