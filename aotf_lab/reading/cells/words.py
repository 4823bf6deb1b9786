"""Cells that hold one of a few words: a direction, a medium."""

from __future__ import annotations

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cure import pass_over

__all__ = ["direction_of", "medium_of"]

_UP = {"up", "+1", "1", "rising", "forward", "auf", "aufwärts", "steigend"}
_DOWN = {"down", "-1", "falling", "backward", "ab", "abwärts", "fallend"}


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
            cure=pass_over(where),
        )  # fmt: skip
    return "up" if word in _UP else "down"


def medium_of(cell: str, where: str) -> str:
    """Return "air" or "vacuum"; raises ``ReadingError`` for anything else.

    >>> medium_of("Vac", "")
    'vacuum'
    """
    word = cell.lower()
    if word not in ("air", "luft", "vacuum", "vac", "vakuum"):
        raise ReadingError(
            "a medium that is neither air nor vacuum", where=where, found=cell, allowed="air, vacuum",
            cure=pass_over(where),
        )  # fmt: skip
    return "air" if word in ("air", "luft") else "vacuum"
