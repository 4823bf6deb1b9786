"""The day of a session, held against the times of its raw files."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

__all__ = ["late_day", "newest_day"]

_YEARS = 9.0
"""A date so far beyond the raw files has a slip in its year (2062 for 2026).

Less is no matter of this check: files bear the time of a copy, or of a computer whose clock is off by some years
(common practice, no source). What the readings' own stamps say is compared to the day.
"""

_TOLD_FROM = 2001
"""The year from which a file's time says anything: clocks without power and archives without times show the zero of
their count, 1970, 1980 or 2000 (POSIX time, FAT and many instruments; from memory)."""


def newest_day(paths: Iterable[Path]) -> date | None:
    """Return the day on which the newest of the files was written, None without a file."""
    newest = max((path.stat().st_mtime for path in paths), default=None)
    return None if newest is None else date.fromtimestamp(newest)


def late_day(day: str, paths: Iterable[Path]) -> str:
    """Return what is to be said of an ISO ``day`` years after the newest of the raw files, "" where nothing is.

    Today's date has no part in it: a session is judged the same whenever it is opened.
    """
    newest = newest_day(paths)
    if newest is None or newest.year < _TOLD_FROM:
        return ""
    years = (date.fromisoformat(day) - newest).days / 365.25
    if years <= _YEARS:
        return ""
    return (
        f"the date {day} lies {years:.0f} years after the newest raw file, of {newest}: correct a slip of the year, "
        "kept calibrations are ordered by it"
    )
