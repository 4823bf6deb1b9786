"""Cells that hold no number of their own: marks of an instrument that had none, dittos, dates."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.units import is_unit

__all__ = ["LARGEST", "fill_dittos", "is_ditto", "is_gap", "missing_mark", "spreadsheet_date"]

LARGEST = 9.8e37
"""A number from here on is a mark: SCPI-1999 (volume 1, 7.2.1; from memory) writes infinity as 9.9E37
and "not a number" as 9.91E37."""

_NUMBER = re.compile(r"^[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?$")
_OVER = re.compile(
    r"^[-+ ]*(?:over|overload|over load|ovld|ovl|ovrflw|overflow|[o0]\.?l\.?|over[ -]?range|sat|saturated)[- ]*$|"
    r"^-[-. ]*-$|^[-–—][–—]+$|^_[_ ]*_$|^\*+$",
    re.IGNORECASE,
)
_UNDER = re.compile(r"^[-+]?(?:under|under[ -]?range|underflow)$", re.IGNORECASE)
_NONE = re.compile(r"^(?:[-–—]|\?+|n/?a|n\.\s?a\.?|#n/a|null|none|no reading|no value)$", re.IGNORECASE)
_SPREADSHEET_ERROR = re.compile(r"^#(?:value!|wert!|valeur!|div/0!|num!|zahl!|ref!|bezug!|name\?|null!|spill!)$", re.I)
_TOO_NARROW = re.compile(r"^#{2,}$")
_DITTO = re.compile(r"^(?:[-–—\s]*(?:\"{1,2}|''|[″“”„〃]|,,|``|´´)[-–—\s]*|do\.?|dto\.?|ditto|dito|id\.|idem)$", re.I)


def missing_mark(cell: str) -> str:
    """Return why the cell holds no reading, "" when it is not such a mark; a unit may stand beside it.

    Judged by the text: 9.9E37 would pass as a number. Apart from SCPI's (see ``LARGEST``) the marks are
    common practice, no source.

    >>> missing_mark("---"), missing_mark("OVLD mV"), missing_mark("1.25")
    ("over-range mark '---'", "over-range mark 'OVLD mV'", '')
    >>> missing_mark("+9.91E+37"), missing_mark("n/a")
    ("SCPI not-a-number, over-range mark '+9.91E+37'", "no reading, marked 'n/a'")
    """
    head, _, tail = cell.rpartition(" ")
    alone = head.strip() if head and is_unit(tail) and tail != "1" else cell
    text = alone.replace("\u2212", "-")
    if not text:
        return "no reading"
    if _NUMBER.match(text):
        return _scpi(text, cell)
    for marks, words in (
        (_OVER, "over-range mark"),
        (_UNDER, "under-range mark"),
        (_NONE, "no reading, marked"),
        (_SPREADSHEET_ERROR, "spreadsheet error"),
        (_TOO_NARROW, "number hidden, its spreadsheet column was too narrow:"),
    ):
        if marks.match(text):
            return f"{words} {cell!r}"
    return ""


def _scpi(text: str, cell: str) -> str:
    value = float(text.replace(",", "."))
    if abs(value) < LARGEST:
        return ""
    kind = {9.9e37: "SCPI infinity, ", -9.9e37: "SCPI negative infinity, ", 9.91e37: "SCPI not-a-number, "}
    return f"{kind.get(value, '')}over-range mark {cell!r}"


def is_gap(cell: str) -> bool:
    """Return whether the cell says that nothing was read, as an empty one does.

    >>> is_gap(""), is_gap("n/a"), is_gap("-"), is_gap("OVER")
    (True, True, True, False)
    """
    return missing_mark(cell).startswith("no reading")


def is_ditto(cell: str) -> bool:
    """Return whether the cell stands for the one above it.

    >>> [is_ditto(c) for c in ('"', "''", "″", "do.", '-"-', "〃", "---")]
    [True, True, True, True, True, True, False]
    """
    return bool(_DITTO.match(cell))


def fill_dittos(cells: Sequence[str], place: Callable[[int], str]) -> tuple[list[str], list[int]]:
    """Return the cells with every ditto replaced by the cell above it, and the positions replaced.

    Raises ``ReadingError`` for a ditto in the first row; ``place`` gives file:line, column of a position.

    >>> fill_dittos(["1.5", '"', "2.0"], str)
    (['1.5', '1.5', '2.0'], [1])
    """
    filled, dittos = list(cells), [k for k, cell in enumerate(cells) if is_ditto(cell)]
    for k in dittos:
        if k == 0:
            raise ReadingError(
                "a ditto with no row above it", where=place(0), found=cells[0],
                allowed="a ditto below a row of readings", cure=pass_over(place(0)),
            )  # fmt: skip
        filled[k] = filled[k - 1]
    return filled, dittos


_MONTHS = {
    1: "jan januar january janvier enero", 2: "feb februar february fev fév février febrero",
    3: "mar mär mrz märz march mars marzo maart mrt", 4: "apr april avr avril abr abril aprile",
    5: "may mai mei mag mayo maggio maj", 6: "jun juni june juin giu junio giugno",
    7: "jul juli july juil juillet lug julio luglio", 8: "aug august août aout ago agosto augustus",
    9: "sep sept september set septembre settembre septiembre",
    10: "oct okt october oktober ott octobre ottobre octubre",
    11: "nov november novembre noviembre", 12: "dec dez dec. december dezember déc dic décembre dicembre diciembre",
}  # fmt: skip
_MONTH_OF = {word: month for month, words in _MONTHS.items() for word in words.split()}
_DAY_MONTH = re.compile(
    r"^(?P<day>[0-9]{1,2})(?:\.\s?|[\s/-])(?P<month>[^\W\d_]{3,10})\.?(?:[\s-](?:[0-9]{2}|[0-9]{4}))?$"
)
_MONTH_YEAR = re.compile(r"^(?P<month>[^\W\d_]{3,10})\.?[\s/-]?(?P<year>[0-9]{2}|[0-9]{4})$")
_MIDNIGHT = r"(?:[T ]0{1,2}:00(?::00(?:\.0+)?)?)?"
_YEAR_FIRST = re.compile(rf"^(?:19|20)[0-9]{{2}}-(?P<month>[0-9]{{1,2}})-(?P<day>[0-9]{{1,2}}){_MIDNIGHT}$")
_YEAR_LAST = re.compile(
    rf"^(?P<one>[0-9]{{1,2}})(?P<mark>[./-])(?P<two>[0-9]{{1,2}})(?P=mark)(?:[0-9]{{2}}|[0-9]{{4}}){_MIDNIGHT}$"
)
_CLOCK = re.compile(r"^(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::00)?$")


def spreadsheet_date(cell: str) -> str:
    """Return which number a spreadsheet probably turned into this date or time, "" for anything else.

    A number that was typed with a mark the spreadsheet did not expect becomes day and month, or month
    and year, or hour and minute (common practice, no source). Whether a zero stood before the
    second part is lost, so there are two numbers to choose from.

    >>> spreadsheet_date("05. Mrz"), spreadsheet_date("Mar 64"), spreadsheet_date("2026-05-03")
    ('5.3 or 5.03', '3.64', '3.5 or 3.05')
    >>> spreadsheet_date("12/5/2026"), spreadsheet_date("1:30"), spreadsheet_date("64.2")
    ('12.5 or 12.05 or 5.12', '1.30', '')
    """
    text = cell.strip()
    if match := _DAY_MONTH.match(text):
        month = _MONTH_OF.get(match["month"].lower(), 0)
        return _day_month(int(match["day"]), month) if month else ""
    if match := _MONTH_YEAR.match(text):
        month = _MONTH_OF.get(match["month"].lower(), 0)
        return f"{month}.{match['year']}" if month else ""
    if match := _YEAR_FIRST.match(text):
        return _day_month(int(match["day"]), int(match["month"]))
    if match := _YEAR_LAST.match(text):
        one, two = int(match["one"]), int(match["two"])
        month_first = "" if match["mark"] == "." or one == two else _day_month(two, one)
        return " or ".join(filter(None, (_day_month(one, two), month_first)))
    match = _CLOCK.match(text)
    return f"{int(match['hour'])}.{match['minute']}" if match else ""


def _day_month(day: int, month: int) -> str:
    if not (1 <= day <= 31 and 1 <= month <= 12):
        return ""
    return f"{day}.{month}" if month > 9 else f"{day}.{month} or {day}.0{month}"
