"""One line into its cells."""

from __future__ import annotations

import csv
import re

from aotf_lab.reading.layout import SEPARATORS

__all__ = ["WIDE", "cells_of", "dittos_of", "headings_between_blanks"]

WIDE = "wide blanks"
"""Two blanks or more, or a tab, between cells: they may then hold single blanks. Spoken of as "blanks"."""

_RUN = re.compile(r"[ \t\u00a0]+")
_WIDE_RUN = re.compile(r"[ ]{2,}|[ ]*\t[ \t]*")
_PLAIN = frozenset(SEPARATORS) - {"blanks"}
_QUOTED = re.compile(r'^"[ ]*([^"]+?)[ ]*"$')
_LONE_QUOTE = re.compile(r'(?:^|[,;\t|])[ ]*"[ ]*(?=[,;\t|]|$)')


def cells_of(text: str, separator: str) -> tuple[str, ...]:
    """Return the cells of a line, without outer blanks and quotes; ``separator`` is a key of SEPARATORS, or WIDE.

    Raises ``csv.Error`` for quotation marks that do not close at the end of a cell.

    >>> cells_of('1.5, "two, three"', "comma"), cells_of("64.2 MHz   412 mV", WIDE)
    (('1.5', 'two, three'), ('64.2 MHz', '412 mV'))
    """
    if separator in _PLAIN and '"' not in text:
        return tuple([cell.strip() for cell in text.split(SEPARATORS[separator])])
    if separator == WIDE:
        return tuple(_QUOTED.sub(r"\1", cell.strip()) for cell in _WIDE_RUN.split(text.strip()))
    if separator == "blanks":
        if '"' not in text:
            return tuple(_RUN.split(text.strip()))
        text = _RUN.sub(" ", text.strip())
    cells = next(csv.reader([text], delimiter=SEPARATORS[separator], strict=True, skipinitialspace=True))
    return tuple([" ".join(part.strip() for part in cell.strip().split("\n")) for cell in cells])


def dittos_of(text: str, separator: str) -> tuple[str, ...] | None:
    """Return the cells of a line in which a lone quotation mark is a cell (ditto), None when there is none.

    >>> dittos_of('2,",46.1', "comma")
    ('2', '"', '46.1')
    """
    if separator in ("blanks", WIDE) or not _LONE_QUOTE.search(text):
        return None
    return tuple([cell.strip() for cell in text.split(SEPARATORS[separator])])


def headings_between_blanks(text: str, wanted: int) -> tuple[str, ...] | None:
    """Return ``wanted`` headings of a line in which they may themselves hold blanks, None when it does not come out.

    >>> headings_between_blanks("Time (s) Counter (MHz)", 2)
    ('Time (s)', 'Counter (MHz)')
    """
    single = _RUN.sub(" ", text.strip())
    glued = single.replace(" (", "\0(").replace(" [", "\0[")
    for cells in (cells_of(text, WIDE), tuple(single.split(" ")), tuple(glued.split(" "))):
        if len(cells) == wanted:
            return tuple(cell.replace("\0", " ") for cell in cells)
    return None
