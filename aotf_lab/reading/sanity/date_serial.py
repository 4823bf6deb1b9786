"""The serial number of a date, and the number that a spreadsheet took for one."""

from __future__ import annotations

from datetime import date, timedelta

__all__ = ["SERIALS", "date_of", "numbers_read_as"]

SERIALS = (36526, 55153)
"""1 January 2000 to 31 December 2050, as days after 30 December 1899 (ECMA-376, part 1, 18.17.4.1)."""

_EPOCH = date(1899, 12, 30)


def date_of(serial: int) -> date:
    """Return the day of a spreadsheet's serial number.

    >>> date_of(45750).isoformat()
    '2025-04-03'
    """
    return _EPOCH + timedelta(days=serial)


def numbers_read_as(serial: int) -> tuple[float, ...]:
    """Return the numbers that may have been typed: day.month, month.day, and month.year on the first of a month.

    >>> numbers_read_as(45750), numbers_read_as(45627)
    ((3.4, 4.3), (1.12, 12.1, 12.24))
    """
    day = date_of(serial)
    typed = [float(f"{day.day}.{day.month}"), float(f"{day.month}.{day.day}")]
    if day.day == 1:
        typed.append(float(f"{day.month}.{day.year % 100:02d}"))
    return tuple(typed)
