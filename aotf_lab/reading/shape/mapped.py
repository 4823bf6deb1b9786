"""The columns that a person stated: in a call, in session.toml, or in a layout."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import StatedColumn
from aotf_lab.reading.shape.heading import NOT_USED, ColumnMap, Heading, Marks
from aotf_lab.reading.shape.hints import Found, Hints, refuse_contradiction
from aotf_lab.reading.shape.marks import marks_of
from aotf_lab.reading.shape.split_heading import is_count_unit, split_heading
from aotf_lab.reading.units import bench_unit, kinds_of, optical_column, parse_unit, to_bench
from aotf_lab.reading.words import NUMBER_COLUMNS, TEXT_COLUMNS, plain_words

__all__ = ["mapped_headings", "position_name", "stated_columns"]

_IN_CALL = "mapped in columns"
_IN_LAYOUT = "stated in the layout"


def position_name(position: int) -> str:
    """Return the name of a column by its place, "column 1" for the first.

    >>> position_name(0)
    'column 1'
    """
    return f"column {position + 1}"


def stated_columns(
    columns: ColumnMap | None, layout: Mapping[str, StatedColumn]
) -> dict[str, tuple[StatedColumn, str]]:
    """Return column name -> what is stated of it and where; what a call states wins over the layout."""
    called = {name: (wanted,) if isinstance(wanted, str) else tuple(wanted) for name, wanted in (columns or {}).items()}
    taken = {heading.strip() for headings in called.values() for heading in headings}
    stated = {name: (StatedColumn(headings), _IN_CALL) for name, headings in called.items()}
    for name, column in layout.items():
        left = tuple(h for h in column.headings if h.strip() not in taken)
        if name == NOT_USED and name in called:
            stated[name] = (StatedColumn(called[name] + left), _IN_CALL)
        elif left and name not in called:
            stated[name] = (StatedColumn(left, column.unit), _IN_LAYOUT)
    return stated


def mapped_headings(
    headers: Sequence[str], where: str, stated: Mapping[str, tuple[StatedColumn, str]], hints: Hints
) -> dict[int, Heading]:
    """Return position -> heading of every column that is stated.

    Raises ``ReadingError`` for a name that no column can have, a heading that is not there once, and a
    unit that contradicts the row of units.
    """
    mapped: dict[int, Heading] = {}
    for column, (wanted, source) in stated.items():
        _refuse_unknown(column, where)
        positions = [_position(headers, header.strip(), column, where) for header in wanted.headings]
        marks = _marks([headers[p] for p in positions], column, where)
        for position, mark in zip(positions, marks, strict=True):
            if position in mapped:
                raise ReadingError(
                    f"one heading mapped to {mapped[position].column or NOT_USED} and to {column}", where=where,
                    found=headers[position], allowed="one meaning for each heading",
                    cure="delete one of the two under columns in session.toml or in the layout",
                )  # fmt: skip
            mapped[position] = _heading(position, headers[position], column, wanted.unit, source, mark, where, hints)
    return mapped


def _refuse_unknown(column: str, where: str) -> None:
    if column != NOT_USED and column.removeprefix("u_") not in NUMBER_COLUMNS and column not in TEXT_COLUMNS:
        raise ReadingError(
            "columns names something that no column can mean", where=where, found=column,
            allowed=", ".join((*NUMBER_COLUMNS, *TEXT_COLUMNS, NOT_USED)) + ", and u_ before a number",
            cure="correct the name under columns in session.toml or in the layout",
        )  # fmt: skip


def _position(headers: Sequence[str], header: str, column: str, where: str) -> int:
    positions = [i for i, h in enumerate(headers) if h == header]
    if len(positions) == 1:
        return positions[0]
    by_place = re.fullmatch(r"column ([1-9][0-9]*)", header)
    if not positions and by_place and int(by_place[1]) <= len(headers):
        return int(by_place[1]) - 1
    raise ReadingError(
        f"columns maps {column} to a heading that stands {len(positions)} times in the file",
        where=where, found=header, allowed=", ".join(map(repr, headers)),
        cure=f"name one heading exactly as the file has it, or its place, such as {position_name(len(headers) - 1)!r}, "
        "in session.toml or in the layout",
    )  # fmt: skip


def _marks(headers: Sequence[str], column: str, where: str) -> list[Marks]:
    """Return the marks of several headings of one column: least and greatest, or repeats in their order."""
    if len(headers) < 2 or column == NOT_USED:
        return [Marks() for _ in headers]
    found = [marks_of(split_heading_or_all(h, where))[1] for h in headers]
    if {m.part for m in found} >= {"min", "max"}:
        return found
    if column in TEXT_COLUMNS:
        raise ReadingError(
            f"several headings for {column}, which is text", where=where, found=", ".join(headers),
            allowed="one heading", cure="name one heading under columns in session.toml or in the layout",
        )  # fmt: skip
    return [Marks(repeat=k + 1) for k in range(len(headers))]


def split_heading_or_all(header: str, where: str) -> str:
    """Return the words of a heading, all of it where its unit is not known."""
    try:
        return split_heading(header, where)[0]
    except ReadingError:
        return header


def _heading(
    position: int, header: str, column: str, stated_unit: str, source: str, marks: Marks, where: str, hints: Hints
) -> Heading:
    if column == NOT_USED:
        said = "said so in columns" if source == _IN_CALL else "said so in the layout"
        return Heading(position, header, "", None, f"not used: {said}", settled=True)
    if column in TEXT_COLUMNS:
        return Heading(position, header, column, None, source)
    place = f"{where}, column {header or position_name(position)!r}"
    if column == "time_s" and hints.is_clock(position):
        return Heading(position, header, column, bench_unit(column), f"{source}, stamps of a clock", clock=True)
    found = _unit(position, header, column, stated_unit, place, hints)
    reads = (
        "drive_v" if marks.part in ("min", "max") and column == "rf_level_vrms" and found.text in ("V", "mV") else ""
    )
    text = found.text or bench_unit(column).symbol
    if is_count_unit(text):
        return Heading(position, header, column, None, f"{source}, {found.evidence}", plain_words(header), marks,
                       counts=True)  # fmt: skip
    unit = parse_unit(text, place) if text else bench_unit(column)
    if column == "rf_level_vrms" and unit.kind == "power level":
        column = "rf_level_dbm"
    column = optical_column(column, unit)
    to_bench(0.0, unit, reads or column, place)  # refuses a unit of another kind
    said = f"unit {found.evidence}" if found else f"unit as the name {column} says"
    return Heading(position, header, column, unit, f"{source}, {said}", "", marks, in_cells=found.in_cells, reads=reads)


def _unit(position: int, header: str, column: str, stated: str, place: str, hints: Hints) -> Found:
    """Return the unit of a stated column: as stated, in the heading, or beside it."""
    if stated:
        refuse_contradiction(stated, hints.row_unit(position, place), column, place)
        return Found(stated, "stated there")
    words, text = split_heading(header, place)
    if text and (words or is_count_unit(text) or parse_unit(text, place).kind in kinds_of(column)):
        return Found(text, "in brackets or after a stroke")
    return hints.unit(position, column, words, place)
