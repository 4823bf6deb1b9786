"""What one cell says: a number, a mark of an instrument that had none, or neither."""

from __future__ import annotations

import re

from aotf_lab.errors import ReadingError

__all__ = ["direction_of", "medium_of", "missing_mark", "number_of"]

_NUMBER = re.compile(r"^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$")
_NO_READING = re.compile(
    r"^(?:[-+]?(?:over|overload|ovld|ovl|ovrflw|o\.?l\.?|over[ -]?range|under|under[ -]?range)|-+|\*+|\?+)$",
    re.IGNORECASE,
)
_OVER_RANGE = 9.8e37
"""SCPI-1999 (volume 1, 7.2.1) writes infinity as 9.9E37 and "not a number" as 9.91E37."""

_UP = {"up", "+1", "1", "rising", "forward"}
_DOWN = {"down", "-1", "falling", "backward"}


def missing_mark(cell: str) -> str:
    """Return why the cell holds no reading, "" when it is not such a mark.

    >>> missing_mark("---"), missing_mark("9.91E37"), missing_mark("1.25")
    ("over-range mark '---'", "over-range mark '9.91E37'", '')
    """
    if not cell:
        return "no reading"
    if _NO_READING.match(cell) or (_NUMBER.match(cell) and abs(float(cell)) >= _OVER_RANGE):
        return f"over-range mark {cell!r}"
    return ""


def number_of(cell: str, where: str, unit: str, *, decimal_comma: bool = False) -> float:
    """Return the number in the cell; ``unit`` is for the message only.

    Raises ``ReadingError`` for text, also for what ``float`` would take: nan, inf, 1_000.

    >>> number_of("1,25", "log.csv:2", "V", decimal_comma=True)
    1.25
    """
    text = cell.replace("\u2212", "-")
    if decimal_comma:
        text = text.replace(",", ".")
    if not _NUMBER.match(text):
        endless = re.match(r"^[+-]?(?:nan|inf|infinity)$", text, re.IGNORECASE)
        raise ReadingError(
            "a number that is not finite" if endless else "text in a number",
            where=where, found=cell, allowed=f"a finite number{f' in {unit}' if unit else ''}, such as 1.25",
            cure="correct the cell, or leave it empty where nothing was read",
        )  # fmt: skip
    return float(text)


def direction_of(cell: str, where: str) -> str:
    """Return "up", "down", or "" for an empty cell; raises ``ReadingError`` for anything else.

    >>> direction_of("+1", ""), direction_of("Down", "")
    ('up', 'down')
    """
    word = cell.replace("\u2212", "-").lower()
    if not word:
        return ""
    if word not in _UP | _DOWN:
        raise ReadingError(
            "a direction that is neither up nor down", where=where, found=cell, allowed="up, down, +1, -1",
            cure="correct the cell",
        )  # fmt: skip
    return "up" if word in _UP else "down"


def medium_of(cell: str, where: str) -> str:
    """Return "air" or "vacuum"; raises ``ReadingError`` for anything else.

    >>> medium_of("Vac", "")
    'vacuum'
    """
    word = cell.lower()
    if word not in ("air", "vacuum", "vac"):
        raise ReadingError(
            "a medium that is neither air nor vacuum", where=where, found=cell, allowed="air, vacuum",
            cure="write in which medium the wavelength is stated",
        )  # fmt: skip
    return "air" if word == "air" else "vacuum"
