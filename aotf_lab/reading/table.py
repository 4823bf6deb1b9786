"""From a raw CSV file to a table in bench units, with the receipt of how it was understood."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from pathlib import Path

import pandas as pd

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.cells import direction_of, medium_of, missing_mark, number_of
from aotf_lab.reading.headers import ColumnMap, Heading, understand_headings
from aotf_lab.reading.raw_text import RawRow, RawText, raw_text
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import ColumnReceipt, Receipt, RejectedRow
from aotf_lab.reading.source import source_file
from aotf_lab.reading.units import to_bench

__all__ = ["GAPS_ALLOWED", "read_bare_table"]

GAPS_ALLOWED = frozenset({"temperature_c", "supply_v", "time_s", "direction", "label"})
"""Columns in which an empty cell is ordinary (a thermometer read every fifth row): it becomes NaN or
"". So does an empty u. In any other column an empty cell rejects its row, in the receipt."""


def read_bare_table(
    path: str | os.PathLike[str], *, columns: ColumnMap | None = None, required: Collection[str] = ()
) -> Readings:
    """Return the rows of ``path`` in bench units, as the instruments show them.

    ``required`` names columns that must be there and must not have gaps. Rows with an over-range
    mark, or without a reading where one is needed, are rejected and listed in the receipt. The
    raw file is opened for reading only.

    Raises ``ReadingError`` for a file that cannot be opened, and for everything that ``raw_text``,
    ``understand_headings`` and the cells refuse.
    """
    file = Path(path)
    content = _content(file)
    raw = raw_text(file.name, content)
    headings = understand_headings(raw.header.cells, f"{file.name}:{raw.header.line}", columns)
    used = [h for h in headings if h.column]
    _require(file.name, raw, used, required)
    kept, rejected = _accept(raw, used, required)
    if not kept:
        raise ReadingError(
            "no row left: each one was rejected", where=f"{file.name}:{rejected[0].line}",
            found=Said(rejected[0].reason), allowed="at least one row with a reading in every column that is needed",
            cure="measure again, or map or leave out the column with the gaps",
        )  # fmt: skip
    data: dict[str, list[float] | list[str] | list[int]] = {h.column: _values(file.name, raw, h, kept) for h in used}
    data["file"] = [file.name] * len(kept)
    data["line"] = [row.line for row in kept]
    receipt = Receipt(file.name, len(kept), tuple(_column_receipt(h) for h in headings), tuple(rejected), _notes(raw))
    return Readings(pd.DataFrame(data), (), (receipt,), (source_file(file, content),))


def _content(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise ReadingError(
            "a file that cannot be opened", where=file.name, found=Said(error.strerror or type(error).__name__),
            allowed="a readable CSV file", cure="check the name and the folder",
        ) from error  # fmt: skip


def _require(name: str, raw: RawText, used: Sequence[Heading], required: Collection[str]) -> None:
    have = {h.column for h in used}
    missing = [column for column in required if column not in have]
    if missing:
        raise ReadingError(
            f"no column that means {' or '.join(missing)}", where=f"{name}:{raw.header.line}", found=raw.header.text,
            allowed=f"a heading for each of {', '.join(required)}",
            cure=f'name it in the heading, or map it in session.toml: columns = {{ {missing[0]} = "..." }}',
        )  # fmt: skip
    if not used:
        raise ReadingError(
            "no heading was understood", where=f"{name}:{raw.header.line}", found=raw.header.text,
            allowed="headings such as 'Drive (V)', 'Frequency (MHz)' or frequency_mhz",
            cure="name the columns, or map them under columns in session.toml",
        )  # fmt: skip


def _accept(raw: RawText, used: Sequence[Heading], required: Collection[str]) -> tuple[list[RawRow], list[RejectedRow]]:
    kept, rejected = [], []
    for row in raw.rows:
        reasons = [r for r in (_reason(row.cells[h.position], h, required) for h in used) if r]
        if reasons:
            rejected.append(RejectedRow(row.line, row.text, "; ".join(reasons)))
        else:
            kept.append(row)
    return kept, rejected


def _reason(cell: str, heading: Heading, required: Collection[str]) -> str:
    """Return why the cell rejects its row, "" when it does not."""
    mark = missing_mark(cell) if heading.unit is not None or not cell else ""
    gap_allowed = heading.column in GAPS_ALLOWED or heading.column.startswith("u_")
    if not mark or (not cell and gap_allowed and heading.column not in required):
        return ""
    return f"{mark} in column {heading.header!r}"


def _values(name: str, raw: RawText, heading: Heading, rows: Sequence[RawRow]) -> list[float] | list[str]:
    cells = [(row.cells[heading.position], f"{name}:{row.line}, column {heading.header!r}") for row in rows]
    unit = heading.unit
    if unit is None:
        read = {"direction": direction_of, "medium": medium_of}.get(heading.column)
        return [read(cell, place) if read else cell for cell, place in cells]
    numbers = []
    for cell, place in cells:
        if not cell:
            numbers.append(float("nan"))
            continue
        number = number_of(cell, place, unit.symbol, decimal_comma=raw.decimal_comma)
        if heading.column.startswith("u_") and not number > 0:
            raise ReadingError(
                "a standard uncertainty that is not above zero", where=place, found=cell,
                allowed=f"a number above 0 {unit.symbol}".strip(),
                cure="state the uncertainty, or leave the cell empty where it is unknown",
            )  # fmt: skip
        numbers.append(to_bench(number, unit, heading.column, place))
    return numbers


def _column_receipt(heading: Heading) -> ColumnReceipt:
    return ColumnReceipt(heading.header, heading.column, heading.unit.symbol if heading.unit else "", heading.evidence)


def _notes(raw: RawText) -> tuple[str, ...]:
    notes = []
    if raw.delimiter == ";":
        notes.append("semicolons between cells")
    if raw.decimal_comma:
        notes.append("decimal commas: no number has a point, and at least one comma cannot group thousands")
    return tuple(notes)
