"""Where the headings stand, and what stands right above and below them: group titles and units."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from aotf_lab.errors import ReadingError
from aotf_lab.reading.text.furniture import is_units_row
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.kinds import has_reading, kinds_in
from aotf_lab.reading.text.search import Candidate, Search, heading_words
from aotf_lab.reading.text.width import widths

__all__ = ["Frame", "find_frame", "titles_above"]


@dataclass(frozen=True)
class Frame:
    """The rows around the readings; ``first`` is the index of the first row below headings and units."""

    titles: RawRow | None
    header: RawRow | None
    units: RawRow | None
    first: int
    width: int
    evidence: str


def find_frame(name: str, rows: Sequence[RawRow], comments: Sequence[RawRow], separator: str) -> Frame | None:
    """Return where the headings stand, None when no row holds a number.

    The headings are the row above the readings with as many cells: the one that speaks most as headings.
    Raises ``ReadingError`` when two different rows could be the headings.
    """
    searches = [Search(rows, width, separator) for width in widths(rows)]
    if not searches:
        return None
    for search in searches:
        found = search.candidates()
        if any(candidate.score for candidate in found):
            return _framed(search, _choose(name, search, found), "words or units in it")
    for search in searches:
        found = search.candidates()
        if found:
            return _framed(search, _choose(name, search, found), "as many cells as the readings below it")
    search = searches[0]
    first = search.first_reading()
    if first is None:
        return None
    _refuse_other_width(name, search, first)
    said = [c for c in comments if c.line < rows[first].line and (not first or c.line > rows[first - 1].line)]
    cells = _commented(said[-1], search) if said and not _is_key_and_value(said[-1]) else None
    header = RawRow(said[-1].line, said[-1].text, cells) if cells else None
    evidence = "a comment right above the readings" if header else "none: the readings have no headings"
    return Frame(None, header, None, first, search.width, evidence)


def _choose(name: str, search: Search, found: list[Candidate]) -> Candidate:
    best = max(candidate.score for candidate in found)
    pool = [candidate for candidate in found if candidate.score == best]
    pool = [candidate for candidate in pool if candidate.pure] or pool
    if len(pool) > 1:
        lines = [search.rows[candidate.at].line for candidate in pool]
        raise ReadingError(
            "two rows that could be the headings", where=f"{name}:{lines[1]}", found=search.rows[pool[1].at].text,
            allowed="one row of headings above the readings",
            cure=f"state which in a layout: heading_line = {lines[0]} or heading_line = {lines[1]} (0: none), "
            "and pass over every line of the other table with skip_lines",
        )  # fmt: skip
    _refuse_readings_above(name, search, pool[0])
    return pool[0]


def _refuse_readings_above(name: str, search: Search, chosen: Candidate) -> None:
    """Raise ``ReadingError`` for rows above the headings that could be readings: moved, or of another table.

    A single number, or one number behind a word, is what a preamble holds.
    """
    above = [at for at in range(chosen.at) if search.is_reading(at)]
    if above and above[-1] == chosen.at - 1 and _are_titles(search, chosen):
        above.pop()
    if not above or len(search.numbers) + len(above) < 3:
        return
    if len(search.numbers) == 1 and search.width > 1:
        return
    row, line = search.rows[above[0]], search.rows[chosen.at].line
    raise ReadingError(
        "a row like the readings above the headings", where=f"{name}:{row.line}", found=row.text,
        allowed=f"readings below the headings in line {line} only",
        cure=f"if it belongs to what stands above them, state heading_line = {line} in a layout",
    )  # fmt: skip


def _are_titles(search: Search, chosen: Candidate) -> bool:
    """Return whether the row right above the headings names blocks: "run 1,,run 2," above headings that come again.

    A reading has no words for its cells, and more than one cell of each block.
    """
    titles = titles_above(search, chosen.at, chosen.cells)
    words = [cell for cell in chosen.cells if cell]
    if titles is None or len(set(words)) == len(words):
        return False
    alone = all(not (left and right) for left, right in pairwise(titles.cells))
    return alone and all(any(sign.isalpha() for sign in cell) for cell in titles.cells if cell)


def _framed(search: Search, chosen: Candidate, evidence: str) -> Frame:
    rows = search.rows
    header = RawRow(rows[chosen.at].line, rows[chosen.at].text, chosen.cells)
    below = search.below(chosen.at)
    units_at = next((at for at in range(chosen.at + 1, below) if search.is_units(at)), None)
    units = _fitted(search, units_at)
    titles = titles_above(search, chosen.at, chosen.cells)
    if units is None and titles is not None and is_units_row(titles.cells):
        units, titles = titles, None
    return Frame(titles, header, units, chosen.at + 1 if units_at is None else units_at + 1, search.width, evidence)


def _fitted(search: Search, at: int | None) -> RawRow | None:
    cells = search.cells(at) if at is not None else None
    return RawRow(search.rows[at].line, search.rows[at].text, cells) if at is not None and cells else None


def titles_above(search: Search, at: int, header: tuple[str, ...]) -> RawRow | None:
    """Return the row of group titles right above the headings: with gaps, or where headings alone repeat."""
    if at == 0 or search.width < 3:
        return None
    above = search.rows[at - 1]
    cells = above.cells[: search.width] if not any(above.cells[search.width :]) else ()
    if len(cells) < 2 or "torn" in kinds_in(cells) or not any(cells):
        return None
    cells += ("",) * (search.width - len(cells))
    gaps = "" in cells[: len(above.cells)] and len(above.cells) > 2
    repeated = "" not in cells and len(set(header)) < len(header)
    return RawRow(above.line, above.text, cells) if gaps or repeated else None


def _commented(comment: RawRow, search: Search) -> tuple[str, ...] | None:
    cells = Search([comment], search.width, search.separator).cells(0)
    return cells if cells and not has_reading(kinds_in(cells)) and "text" in kinds_in(cells) else None


def _is_key_and_value(comment: RawRow) -> bool:
    """Return whether a comment is a setting such as "#UNIT=uW", and no headings."""
    return len(comment.cells) == 1 and re.fullmatch(r"[^=(\[]+=[^=]+", comment.cells[0]) is not None


def _refuse_other_width(name: str, search: Search, first: int) -> None:
    """Raise ``ReadingError`` when what stands above the readings looks like headings of another number of columns."""
    if first == 0:
        return
    above, row = search.rows[first - 1], search.rows[first]
    kinds = kinds_in(above.cells)
    if has_reading(kinds) or "text" not in kinds or (len(above.cells) == 1 and not heading_words(above.cells)):
        return
    found, wanted = len(row.cells), len(above.cells)
    raise ReadingError(
        f"{found} cells below {wanted} headings", where=f"{name}:{row.line}", found=row.text,
        allowed=f"{wanted} cells, empty ones included",
        cure=f"state in a layout another separator, or heading_line = 0 if line {above.line} is no heading; "
        "a decimal comma between commas can only be told in quotation marks",
    )  # fmt: skip
