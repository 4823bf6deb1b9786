"""Where the headings stand when a layout says so."""

from __future__ import annotations

from collections.abc import Sequence

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.text.furniture import is_units_row
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.heading import Frame, find_frame, titles_above
from aotf_lab.reading.text.search import Search
from aotf_lab.reading.text.width import widths

__all__ = ["stated_frame"]


def stated_frame(
    name: str, rows: Sequence[RawRow], comments: Sequence[RawRow], separator: str, layout: Layout
) -> Frame | None:
    """Return where the headings stand, None when no row holds a number; what ``layout`` states is not looked for.

    Raises ``ReadingError`` for a stated line that is not there, and for what ``find_frame`` refuses.
    """
    units = _row_at(name, "units_line", layout.units_line, [*rows, *comments])
    others = [row for row in rows if units is None or row.line != units.line]
    if layout.heading_line is None:
        frame = find_frame(name, others, comments, separator)
        if frame is None or layout.units_line is None:
            return frame
    else:
        found = _from_heading_line(name, others, comments, separator, layout.heading_line)
        if found is None:
            return None
        frame = found
    header_line = frame.header.line if frame.header else 0
    below = next((at for at, row in enumerate(others) if row.line > header_line), len(others))
    if units is None:
        if layout.units_line == 0:
            return Frame(frame.titles, frame.header, None, below if header_line else frame.first, frame.width,
                         frame.evidence)  # fmt: skip
        return frame
    first = (
        sum(row.line <= max(units.line, header_line) for row in rows)
        if header_line
        else (sum(row.line < max(units.line, others[frame.first].line) for row in rows))
    )
    cells = Search([units], frame.width, separator).cells(0) or units.cells
    return Frame(frame.titles, frame.header, RawRow(units.line, units.text, cells), first, frame.width, frame.evidence)


def _from_heading_line(
    name: str, rows: Sequence[RawRow], comments: Sequence[RawRow], separator: str, line: int
) -> Frame | None:
    evidence = "stated in the layout"
    stated = _row_at(name, "heading_line", line, [*rows, *comments])
    below = [row for row in rows if stated is None or row.line > stated.line]
    found = widths(below)
    if not found:
        return None
    if stated is None:
        begin = Search(rows, found[0], separator).first_reading()
        return None if begin is None else Frame(None, None, None, begin, found[0], evidence)
    fitting = [(width, Search([stated], width, separator).cells(0)) for width in found]
    width, cells = next(((w, c) for w, c in fitting if c is not None), (len(stated.cells), stated.cells))
    header = RawRow(stated.line, stated.text, cells)
    first = len(rows) - len(below)
    search = Search(rows, width, separator)
    titles = titles_above(search, first - 1, header.cells) if first and rows[first - 1] is stated else None
    unit_cells = search.cells(first)
    if unit_cells is not None and is_units_row(unit_cells):
        units = RawRow(rows[first].line, rows[first].text, unit_cells)
        return Frame(titles, header, units, first + 1, width, evidence)
    return Frame(titles, header, None, first, width, evidence)


def _row_at(name: str, key: str, line: int | None, rows: Sequence[RawRow]) -> RawRow | None:
    if not line:
        return None
    for row in rows:
        if row.line == line:
            return row
    raise ReadingError(
        f"{key} in the layout names a line without cells", where=f"{name}:{line}", found=Said("no such row"),
        allowed="the 1-based line of a row in the file, or 0 for none", cure=f"correct {key} in the layout",
    )  # fmt: skip
