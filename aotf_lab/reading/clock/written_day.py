"""Which day does a date mean whose order is certain, and which offset does a zone mean?"""

from __future__ import annotations

from datetime import date

__all__ = ["NoSuchTimeError", "written_day", "zone_seconds"]

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH_NAMES = {m[:3]: m for m in (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december")}  # fmt: skip
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


class NoSuchTimeError(ValueError):
    """The cell has the form of a stamp, but no such time exists; the text says why."""


def zone_seconds(text: str | None) -> int | None:
    """Return the offset from UTC (s), None where no zone is written."""
    if text is None:
        return None
    if text.upper() in ("Z", "UTC", "GMT"):
        return 0
    digits = text[1:].replace(":", "")
    hours, minutes = int(digits[:2]), int(digits[2:] or 0)
    if hours > 15 or minutes > 59:
        raise NoSuchTimeError(f"zone {text}")
    return (hours * 60 + minutes) * (60 if text[0] == "+" else -60)


def written_day(parts: dict[str, str | None]) -> tuple[date, bool]:
    """Return the day of a date whose order is certain, and whether its year has two digits."""
    year_text = parts["y"] or ""
    year = int(year_text) + (2000 if len(year_text) == 2 else 0)
    try:
        if parts.get("week"):
            return date.fromisocalendar(year, int(parts["week"] or 0), int(parts["weekday_number"] or 0)), False
        if parts.get("ordinal"):
            day = date.fromordinal(date(year, 1, 1).toordinal() + int(parts["ordinal"] or 0) - 1)
            if day.year != year:
                raise NoSuchTimeError(f"day {parts['ordinal']} of {year}")
            return day, False
        month = _month(parts["month"]) if parts.get("month") else int(parts["mo"] or 0)
        day = date(year, month, int(parts["d"] or 0))
    except ValueError as error:
        raise NoSuchTimeError(str(error)) from None
    named = parts.get("weekday")
    if named and _index(named, _WEEKDAYS, "day of the week") != day.weekday():
        raise NoSuchTimeError(f"{named}, but {day.isoformat()} is another day of the week")
    return day, len(year_text) == 2


def _month(name: str | None) -> int:
    word = (name or "").lower()
    if not (word == "sept" or _MONTH_NAMES.get(word[:3], "").startswith(word)):
        raise NoSuchTimeError(f"month {name!r}")
    return _index(word, _MONTHS, "month") + 1


def _index(name: str, names: tuple[str, ...], what: str) -> int:
    if name.lower()[:3] not in names:
        raise NoSuchTimeError(f"{what} {name!r}")
    return names.index(name.lower()[:3])
