"""Is a jump of an hour in local time a change of clocks, to or from summer time?

Two rules, by the calendar alone. European Union: last Sunday of March to last Sunday of October, at 1 h UTC
(Directive 2000/84/EC, articles 2 and 3), so at 0, 1, 2 or 3 h local standard time. North America: second Sunday of
March to first Sunday of November, at 2 h local time (Energy Policy Act of 2005, section 110; from memory).
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

__all__ = ["change_of_clock"]

_HOUR = timedelta(hours=1)
_BEGIN_HOURS = {"last Sunday of March": (0, 1, 2, 3), "second Sunday of March": (2,)}
_END_HOURS = {"last Sunday of October": (1, 2, 3, 4), "first Sunday of November": (2,)}


def change_of_clock(before: datetime, after: datetime) -> str:
    """Return which change of clocks lies between two local times, "" for none.

    A jump back (``after < before``) can only be the end of summer time, a jump forward only its beginning.

    >>> change_of_clock(datetime(2026, 3, 29, 1, 59, 50), datetime(2026, 3, 29, 3, 0))
    'summer time began (last Sunday of March)'
    """
    back = after < before
    for name, hours in (_END_HOURS if back else _BEGIN_HOURS).items():
        day = _day_of(name, after.year)
        if after.date() != day:
            continue
        for hour in hours:
            turn = datetime(day.year, day.month, day.day, hour)  # what the clock shows, or would, when it is moved
            moved_to = turn - _HOUR if back else turn + _HOUR
            if before < turn and after >= moved_to:
                return f"summer time {'ended' if back else 'began'} ({name})"
    return ""


def _day_of(name: str, year: int) -> date:
    if name == "second Sunday of March":
        return _sunday_from(date(year, 3, 8))
    if name == "first Sunday of November":
        return _sunday_from(date(year, 11, 1))
    return _sunday_from(date(year, 3 if name.endswith("March") else 10, 25))


def _sunday_from(day: date) -> date:
    """Return the first Sunday on or after ``day``."""
    return day + timedelta(days=(6 - day.weekday()) % 7)
