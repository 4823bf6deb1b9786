"""As much of a layout as a file decides that cannot be read: to be finished by a person who knows the file."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

from aotf_lab.errors import ReadingError
from aotf_lab.reading.headers import understand_headings
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.long.limit import refuse_long
from aotf_lab.reading.text.cells import cells_of
from aotf_lab.reading.text.decode import decode
from aotf_lab.reading.text.foreign import refuse_foreign_bytes, refuse_foreign_text
from aotf_lab.reading.text.grid import Grid
from aotf_lab.reading.text.kinds import has_reading, kinds_in
from aotf_lab.reading.text.lines import Line, comment_of, lines_of
from aotf_lab.reading.text.separators import find_separator, spoken
from aotf_lab.reading.text.split import split

__all__ = ["LayoutDraft", "draft_layout"]

_SHOWN = 6
"""So many of the first lines are shown beside their numbers."""


@dataclass(frozen=True)
class LayoutDraft:
    """``layout`` states what the file decides, ``likely`` what seems likeliest where it does not.

    ``first`` are its first lines as (number, text), ``headings`` as (what they mean, "" where that is not told, text).
    """

    layout: Layout
    likely: Layout = field(default_factory=Layout)
    first: tuple[tuple[int, str], ...] = field(default=(), repr=False)
    headings: tuple[tuple[str, str], ...] = field(default=(), repr=False)


def draft_layout(path: Path) -> LayoutDraft:
    """Return what ``path`` decides by itself.

    Raises ``ReadingError`` for a file that is no text, or too long: no layout would cure that.
    """
    refuse_long(path)
    content = path.read_bytes()
    refuse_foreign_bytes(path.name, content)
    try:
        text, encoding, _ = decode(path.name, content)
    except ReadingError:
        return LayoutDraft(Layout())
    refuse_foreign_text(path.name, text)
    lines = [line for line in lines_of(text).lines if line.text.strip()]
    found = LayoutDraft(Layout(encoding), first=tuple((line.number, line.text) for line in lines[:_SHOWN]))
    try:
        separator, _ = find_separator(path.name, lines)
    except ReadingError:
        return found
    likely = Layout(separator=spoken(separator))
    layout = replace(found.layout, separator=likely.separator)
    for mark in (None, ".", ","):
        grid = _split(path.name, content, replace(layout, decimal_mark=mark))
        if grid is not None:
            decided = grid.form.decimal_mark if mark is None else None
            header, units = grid.header, grid.units
            layout = replace(
                layout, decimal_mark=decided, heading_line=header.line if header else 0,
                units_line=units.line if units else 0,
            )  # fmt: skip
            return replace(found, layout=layout, headings=_meanings(header.cells if header else ()))
    above = _above_first_reading(lines, separator)
    if above is None:
        return replace(found, likely=likely)
    likely = replace(likely, heading_line=above.number)
    return replace(found, likely=likely, headings=_meanings(_cells(above, separator)))


def _split(name: str, content: bytes, layout: Layout) -> Grid | None:
    try:
        return split(name, content, layout)
    except ReadingError:
        return None


def _above_first_reading(lines: Sequence[Line], separator: str) -> Line | None:
    """Return the line right above the first that holds a reading of more than one cell, None without one."""
    rows = [(line, _cells(line, separator)) for line in lines if comment_of(line.text, separator) is None]
    for (above, headings), (_, cells) in pairwise(rows):
        if len(cells) > 1 and has_reading(kinds_in(cells)) and not has_reading(kinds_in(headings)):
            return above
    return None


def _cells(line: Line, separator: str) -> tuple[str, ...]:
    try:
        return cells_of(line.text, separator)
    except csv.Error:
        return ()


def _meanings(headings: Sequence[str]) -> tuple[tuple[str, str], ...]:
    return tuple((_meaning(heading), heading) for heading in headings if heading)


def _meaning(heading: str) -> str:
    try:
        (found,) = understand_headings([heading], "")
    except ReadingError:
        return ""
    return found.column
