"""Cells that hold one of a few words: a direction, a medium."""

from __future__ import annotations

import re

from aotf_lab.errors import ReadingError

__all__ = ["direction_of", "medium_of", "number_of"]

_NUMBER = re.compile(r"^[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?$")

_UP = {"up", "+1", "1", "rising", "forward"}
_DOWN = {"down", "-1", "falling", "backward"}


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
