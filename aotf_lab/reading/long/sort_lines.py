"""Which lines of a piece are plain rows of numbers, and which have to be looked at one by one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.layout import SEPARATORS

__all__ = ["SortedLines", "one_blank", "plain_bytes", "sort_lines"]

Flags = NDArray[np.bool_]
Places = NDArray[np.int64]

_LF, _QUOTE, _BLANK, _TAB = 10, 34, 32, 9


@dataclass(frozen=True)
class SortedLines:
    """The lines of a piece: where each begins and ends (its line feed), and whether it is plain.

    ``data`` are the bytes, ``plain`` is None when all lines are. A plain line has as many cells as
    there are headings and only bytes that the plain way can read; whether they make numbers is not known yet.
    """

    data: bytes
    starts: Places
    ends: Places
    plain: Flags | None

    def __len__(self) -> int:
        return len(self.ends)

    def plain_data(self, plain: Flags | None) -> bytes:
        """Return the bytes of the ``plain`` lines (None: of all)."""
        if plain is None:
            return self.data
        kept = np.repeat(plain, self.ends - self.starts + 1)
        return np.frombuffer(self.data, np.uint8)[kept].tobytes()

    def text(self, row: int) -> str:
        """Return the text of the line at position ``row``; bytes that are not UTF-8 as U+FFFD."""
        return self.data[self.starts[row] : self.ends[row]].decode("utf-8", "replace")


def plain_bytes(separator: str, decimal_mark: str, *, words: bool, quotes: bool = True) -> bytes:
    """Return the bytes that a plain line may hold; ``words`` when columns of text stand among the numbers."""
    plain = b"0123456789+-eE \n" + SEPARATORS[separator].encode() + decimal_mark.encode()
    plain += b'"' if quotes else b""
    return plain + bytes(set(range(33, 127)) - set(b'#"')) if words else plain


def sort_lines(data: bytes, separator: str, cells: int, plain: bytes) -> SortedLines:
    """Return the lines of ``data`` (each ended by a line feed), sorted; ``cells`` is how many a row has."""
    array = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(array == _LF)
    starts = np.empty_like(ends)
    starts[:1], starts[1:] = 0, ends[:-1] + 1
    marks = array == ord(SEPARATORS[separator])
    odd = np.zeros(len(ends), bool)
    if b'"' in data:
        inside, bad = _quotes(array, ord(SEPARATORS[separator]))
        marks &= ~inside
        odd[np.searchsorted(ends, bad)] = True
    between = np.flatnonzero(marks)
    if not _regular(between, starts, ends, cells):
        counts = np.diff(np.searchsorted(between, ends), prepend=0)
        odd |= counts != cells - 1
    if cells == 1:
        odd |= starts == ends
    if data.translate(None, plain):
        known = np.zeros(256, bool)
        known[list(plain)] = True
        odd[np.searchsorted(ends, np.flatnonzero(~known[array]))] = True
    return SortedLines(data, starts, ends, ~odd if odd.any() else None)


def _regular(between: Places, starts: Places, ends: Places, cells: int) -> bool:
    """Return whether every line has ``cells - 1`` separators: their number fits, and so does the place of each."""
    if len(between) != len(ends) * (cells - 1):
        return False
    if cells == 1 or not len(ends):
        return True
    grid = between.reshape(len(ends), cells - 1)
    return bool(np.all(grid[:, 0] >= starts) and np.all(grid[:, -1] < ends))


def _quotes(array: NDArray[np.uint8], separator: int) -> tuple[Flags, Places]:
    """Return which bytes stand inside quotation marks, and the places where a mark is not at the edge of a cell.

    Marks are paired line by line, so that a stray one costs its own line only.
    """
    marks = array == _QUOTE
    parity = np.cumsum(marks, dtype=np.int64)
    feeds = np.flatnonzero(array == _LF)
    before = np.diff(parity[feeds], prepend=0)
    base = np.concatenate([[0], np.cumsum(before)])[:-1]
    lengths = np.diff(feeds, prepend=-1)
    odd_inside = (parity - np.repeat(base, lengths)) & 1
    inside = odd_inside.astype(bool)
    edge = (array == separator) | (array == _LF)
    opening, closing = np.flatnonzero(marks & inside), np.flatnonzero(marks & ~inside)
    opens_well = (opening == 0) | edge[opening - 1]
    closes_well = edge[closing + 1]
    stray = feeds[before % 2 == 1]
    return inside, np.concatenate([opening[~opens_well], closing[~closes_well], stray])


def one_blank(data: bytes) -> bytes:
    """Return ``data`` with every run of blanks and tabs as one blank, and none at the ends of a line.

    >>> one_blank(b"  1.0 \\t 2.0  \\n3 4\\n")
    b'1.0 2.0\\n3 4\\n'
    """
    array = np.frombuffer(data, np.uint8).copy()
    array[array == _TAB] = _BLANK
    blank = array == _BLANK
    edge = blank | (array == _LF)
    before = np.concatenate([[True], edge[:-1]])
    array = array[~(blank & before)]
    trailing = (array[:-1] == _BLANK) & (array[1:] == _LF)
    return array[~np.concatenate([trailing, [False]])].tobytes() if len(array) else b""
