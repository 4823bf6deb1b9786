"""A column of clock times written as ISO 8601 has them, year first, many at a time."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.text.grid import Grid

__all__ = ["IsoClock", "iso_clock"]

_STAMP = re.compile(
    r"(?P<date>[0-9]{4}[-/.][0-9]{2}[-/.][0-9]{2})[T ](?P<time>[0-9]{2}:[0-9]{2}:[0-9]{2})(?:[.,](?P<part>[0-9]{1,9}))?"
    r"(?P<zone>Z|[+-][0-9]{2}:?[0-9]{2})?"
)
_ALLOWED = "2026-03-29T14:03:05.250, the year first, with one zone or none"


@dataclass(frozen=True)
class IsoClock:
    """The clock column at ``position``; times count in seconds from ``start``, ``example`` is the first stamp.

    Every stamp has the ``zone`` of the first; a summer-time jump of a local clock is a break in time.
    """

    position: int
    header: str
    example: str
    start: datetime
    zone: str

    def seconds(self, cells: NDArray[np.uint8]) -> NDArray[np.float64]:
        """Return the times of stamps (n, len(example)) in bytes, NaN for those that are not written as the first is."""
        example = np.frombuffer(self.example.encode(), np.uint8)
        digit = (example >= 48) & (example <= 57)
        digit[len(self.example) - len(self.zone) :] = False
        good = (cells[:, ~digit] == example[~digit]).all(axis=1)
        numbers = cells - np.uint8(48)
        good &= (numbers[:, digit] <= 9).all(axis=1)
        value = numbers.astype(np.int64)

        def field(first: int, length: int) -> NDArray[np.int64]:
            powers: NDArray[np.int64] = 10 ** np.arange(length - 1, -1, -1, dtype=np.int64)
            return value[:, first : first + length] @ powers

        year, month, day = field(0, 4), field(5, 2), field(8, 2)
        hour, minute, second = field(11, 2), field(14, 2), field(17, 2)
        good &= (month >= 1) & (month <= 12) & (day >= 1) & (hour < 24) & (minute < 60) & (second < 60)
        months = (np.where(good, year, 1970) - 1970) * 12 + np.where(good, month, 1) - 1
        dates = months.astype("M8[M]").astype("M8[D]") + (np.where(good, day, 1) - 1)
        good &= dates.astype("M8[M]").astype(np.int64) == months
        days = (dates - np.datetime64(self.start.date(), "D")).astype(np.int64)
        whole = days * 86400 + hour * 3600 + minute * 60 + second - _of_day(self.start)
        digits = len(self.example) - len(self.zone) - 20
        part = field(20, digits) / 10.0**digits if digits > 0 else 0.0
        return np.where(good, whole + part, np.nan)

    def second(self, cell: str, place: str) -> float:
        """Return the time of one stamp, with a fraction of any length; raises ``ReadingError`` for anything else."""
        match = _STAMP.fullmatch(cell)
        whole = _whole(match) if match else None
        if match is None or whole is None or (match["zone"] or "") != self.zone:
            raise ReadingError(
                "text in a column of times, or another form of time than above it", where=place, found=cell,
                allowed=self.example, cure=pass_over(place),
            )  # fmt: skip
        return (whole - self.start).total_seconds() + float(f"0.{match['part'] or 0}")


def _whole(match: re.Match[str]) -> datetime | None:
    """Return the stamp without its fraction of a second, None when there is no such time."""
    try:
        return datetime.fromisoformat(f"{re.sub('[/.]', '-', match['date'])} {match['time']}")
    except ValueError:
        return None


def _of_day(moment: datetime) -> int:
    return moment.hour * 3600 + moment.minute * 60 + moment.second


def iso_clock(heading: Heading, grid: Grid) -> IsoClock:
    """Return the clock of a long log, which counts from the whole second of its first stamp.

    Raises ``ReadingError`` for clock times that are not ISO 8601, and a date in a column of its own.
    """
    cells = [row.cells[heading.position] for row in grid.rows if row.cells[heading.position]]
    match = _STAMP.fullmatch(cells[0]) if cells else None
    start = _whole(match) if match else None
    if match is None or start is None or heading.before >= 0:
        raise ReadingError(
            "a clock that cannot be followed through a long log", where=f"{grid.name}:{grid.rows[0].line}, "
            f"column {heading.header!r}", found=cells[0] if cells else "", allowed=_ALLOWED,
            cure=f'pass the column over and count rows: columns = {{ not_used = "{heading.header}" }}, block_rows',
        )  # fmt: skip
    return IsoClock(heading.position, heading.header, cells[0], start, match["zone"] or "")
