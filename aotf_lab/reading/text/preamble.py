"""A line above the headings: its key and its value."""

from __future__ import annotations

import csv
import re

from aotf_lab.reading.text.cells import WIDE, cells_of
from aotf_lab.reading.text.grid import RawRow

__all__ = ["preamble_row"]

_KEY_VALUE = re.compile(r"([^\W\d_][^:=,;\t|\"]*)([:=])(?![0-9]{2}:)(.*)", re.DOTALL)
_OTHERS = ("tab", "semicolon", "bar", "comma", WIDE)
_NUMBER_COMMA = re.compile(r"[0-9],[0-9]")


def preamble_row(line: int, text: str, said: str, separator: str) -> RawRow:
    """Return the line with its text as it stands (``text``) and ``said`` split into key, value and what follows.

    Split at ``:`` or ``=`` where that comes before any separator, else at the separator of the readings,
    else at another one; plain text is one cell.

    >>> preamble_row(3, "# Sample interval: 0.5 s", "Sample interval: 0.5 s", "comma").cells
    ('Sample interval', '0.5 s')
    >>> preamble_row(1, '"Range","5","V"', '"Range","5","V"', "comma").cells
    ('Range', '5', 'V')
    """
    said = said.strip()
    match = _KEY_VALUE.fullmatch(said)
    if match and match[1][-1:].isdigit() and match[3][:1].isdigit() and match[2] == ":":
        match = None  # "begun 12:30" is a time of day
    if match:
        key, value = match[1].strip(), match[3].strip()
        values = _split(value.lstrip(",;\t| "), separator) if value[:1] in tuple(",;\t|") else (value,)
        return RawRow(line, text, (key, *(cell for cell in values if cell)))
    cells = _split(said, separator)
    return RawRow(line, text, tuple(cell.rstrip(" :=") if at == 0 else cell for at, cell in enumerate(cells)))


def _split(said: str, separator: str) -> tuple[str, ...]:
    for candidate in (separator, *_OTHERS):
        if candidate == "blanks" or (candidate == "comma" != separator and _NUMBER_COMMA.search(said)):
            continue
        try:
            cells = cells_of(said, candidate)
        except csv.Error:
            continue
        filled = max((at for at, cell in enumerate(cells) if cell), default=0) + 1
        if filled > 1:
            return cells[:filled]
    return (said.strip('" ,;\t|'),)
