"""The rows of a file seen as readings of one width: which rows could be their headings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.reading.text.cells import WIDE, headings_between_blanks
from aotf_lab.reading.text.furniture import is_rule, is_units_row
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.kinds import has_reading, kinds_in
from aotf_lab.reading.text.width import is_reading, number_columns
from aotf_lab.reading.units import is_unit
from aotf_lab.reading.words import BENCH_NAMES, word_meaning

__all__ = ["Candidate", "Search", "heading_words"]

_HEAD = 3000
"""Headings are looked for in this many lines that are not blank."""

_UNIT_FORM = re.compile(r"[^(\[,/].*?[ ]?(?:[(\[](?P<a>[^()\[\]]{1,12})[)\]]|[,/][ ]?(?P<b>[^,/]{1,12}))")

_SETTING = re.compile(r"(?P<key>[^:=]*)[:=][ \t]*[-+\u2212]?[0-9].*")
"""A key and its number, such as "Range: 3 mW": no heading, although a unit ends it."""


@dataclass(frozen=True)
class Candidate:
    """A row that could be the headings: index, cells, how many of them speak as headings, if none is a number."""

    at: int
    cells: tuple[str, ...]
    score: int
    pure: bool


def heading_words(cells: Sequence[str]) -> int:
    """Return how many cells speak as headings: a known word or name, or a unit behind words.

    >>> heading_words(("Drive (V)", "frequency_mhz", "Coupling")), heading_words(("Coupling", "DC"))
    (2, 0)
    """
    return sum(_speaks(cell) for cell in cells)


def _speaks(cell: str) -> bool:
    if cell.removeprefix("u_") in BENCH_NAMES or word_meaning(cell):
        return True
    if _is_setting(cell):
        return False
    match = _UNIT_FORM.fullmatch(cell)
    return match is not None and is_unit(match["a"] or match["b"] or "")


def _is_setting(cell: str) -> bool:
    match = _SETTING.fullmatch(cell)
    return match is not None and any(sign.isalpha() for sign in match["key"])


def _ends_in_quantity(cell: str) -> bool:
    """Return whether the cell ends in a number and its unit, or states an offset: "Range 3 mW"."""
    if re.search(r"\boffset\b.*[0-9]", cell, re.IGNORECASE):
        return True
    match = re.search(r"(?:^|[\s(:=])[0-9][0-9.,]*\s*([^\s0-9()]+)$", cell)
    return match is not None and is_unit(match[1])


class Search:
    """The rows of a file that are neither blank nor comments, seen as readings of one width."""

    def __init__(self, rows: Sequence[RawRow], width: int, separator: str) -> None:
        self.rows, self.width, self.separator = rows, width, separator
        self.numbers = number_columns(rows, width)
        self.end = min(len(rows), _HEAD)

    def cells(self, at: int) -> tuple[str, ...] | None:
        """Return the row's cells when they fit the width (empty ones at the end aside), else None."""
        row = self.rows[at]
        if len(row.cells) == self.width:
            return row.cells
        if len(row.cells) > self.width and not any(row.cells[self.width :]):
            return row.cells[: self.width]
        if self.separator in ("blanks", WIDE) and not has_reading(kinds_in(row.cells)):
            return headings_between_blanks(row.text, self.width)
        return None

    def is_reading(self, at: int) -> bool:
        """Return whether the row at this index is a reading."""
        cells = self.cells(at) if at < len(self.rows) else None
        return cells is not None and is_reading(kinds_in(cells), self.width, self.numbers)

    def has_number(self, at: int) -> bool:
        """Return whether the row at this index holds a number or a clock."""
        return at < len(self.rows) and has_reading(kinds_in(self.rows[at].cells))

    def is_units(self, at: int) -> bool:
        """Return whether the row at this index is a row of units."""
        cells = self.cells(at) if at < len(self.rows) else None
        return cells is not None and is_units_row(cells)

    def below(self, at: int) -> int:
        """Return the index of the first row below a heading at ``at`` that is neither units, a rule nor plain text."""
        at += 1
        while at < len(self.rows) and (self.is_units(at) or is_rule(self.rows[at]) or self._is_plain_text(at)):
            at += 1
        return at

    def _is_plain_text(self, at: int) -> bool:
        return self.width > 1 and len(self.rows[at].cells) == 1 and not any(c.isdigit() for c in self.rows[at].text)

    def candidates(self) -> list[Candidate]:
        """Return the rows that could be headings, each once."""
        found: dict[tuple[str, ...], Candidate] = {}
        for at in range(self.end):
            cells = self.cells(at)
            if cells is None or cells in found or is_rule(self.rows[at]):
                continue
            if all(not cell or _is_setting(cell) for cell in cells) or (
                self.width == 1 and _ends_in_quantity(cells[0])
            ):
                continue
            kinds = kinds_in(cells)
            pure = "text" in kinds and not has_reading(kinds)
            if pure and self.is_units(at) and at and self._is_words(at - 1):
                continue  # the units of the row above
            mixed = has_reading(kinds) and not is_reading(kinds, self.width, self.numbers) and "text" in kinds
            if not (pure or mixed):
                continue
            score, below = heading_words(cells), self.below(at)
            if self.is_reading(below) or (pure and score and self._is_damaged(below)):
                found[cells] = Candidate(at, cells, score, pure)
        return list(found.values())

    def _is_damaged(self, at: int) -> bool:
        """Return whether the row may be a reading gone wrong: numbers in it, or unknown words above a reading."""
        cells = self.cells(at) if at < len(self.rows) else None
        return self.has_number(at) or (cells is not None and not heading_words(cells) and self.is_reading(at + 1))

    def _is_words(self, at: int) -> bool:
        cells = self.cells(at)
        return cells is not None and "text" in kinds_in(cells) and not has_reading(kinds_in(cells))

    def first_reading(self) -> int | None:
        """Return where the longest run of readings begins, with what stands between earlier readings and it.

        None where there is none: a key and its value are no reading.
        """
        best, best_length, at = 0, 0, 0
        starts = []
        while at < self.end:
            if not self.is_reading(at) or _is_setting(self.rows[at].text.strip()):
                at += 1
                continue
            start = at
            while at < self.end and self.is_reading(at):
                at += 1
            starts.append((start, at))
            if at - start > best_length:
                best, best_length = start, at - start
        for start, end in reversed([s for s in starts if s[0] < best]):
            if best - end <= 3:  # a torn row or two among readings: refused by name, not taken for a preamble
                best = start
        return best if starts else None
