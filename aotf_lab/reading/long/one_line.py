"""A line that is not a plain row of numbers, looked at cell by cell."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.marks import is_ditto, missing_mark
from aotf_lab.reading.cells.number import NotANumber, number_in
from aotf_lab.reading.layout import SEPARATORS
from aotf_lab.reading.long.plan import NumberColumn, Plan
from aotf_lab.reading.units import bench_values, parse_unit

__all__ = ["GAPS_ALLOWED", "Kind", "Looked", "look_at"]

GAPS_ALLOWED = frozenset({"time_s", "supply_v", "temperature_c"})
"""Columns in which an empty cell is ordinary: the row is taken without it."""


class Kind(IntEnum):
    """What a line is: a row taken, a row without a reading, or no row at all."""

    TAKEN = 0
    OVER_RANGE = 1
    GAP = 2
    RAGGED = 3
    NO_ROW = 4


@dataclass(frozen=True)
class Looked:
    """What one line holds: its kind, the reason why it is not taken or in doubt, its numbers in bench units."""

    kind: Kind
    reason: str = ""
    numbers: dict[str, float] = field(default_factory=dict)
    doubt: str = ""
    dark: bool = False


def look_at(text: str, line: int, plan: Plan) -> Looked:
    """Return what the line holds.

    Comments (``#``), blank lines, repeated headings and lines that the layout passes over are no rows; a
    row with too few or too many cells, a gap or an over-range mark is a row without a reading.
    Raises ``ReadingError`` for text that is none of these.
    """
    if line in plan.skip_lines:
        return Looked(Kind.NO_ROW, f"passed over by the layout: {plan.skip_lines[line]}")
    if not text.strip():
        return Looked(Kind.NO_ROW, "blank line")
    if text.lstrip().startswith("#"):
        return Looked(Kind.NO_ROW, "comment")
    cells = _cells(text, line, plan)
    if not any(cells):
        return Looked(Kind.NO_ROW, "blank line")
    if tuple(cells) == plan.header.cells:
        return Looked(Kind.NO_ROW, "repeated headings")
    if len(cells) != plan.cells:
        few = "few" if len(cells) < plan.cells else "many"
        return Looked(Kind.RAGGED, f"too {few} cells ({len(cells)} below {plan.cells} headings)")
    return _row(cells, line, plan)


def _cells(text: str, line: int, plan: Plan) -> list[str]:
    if "\ufffd" in text:
        raise ReadingError(
            "bytes that are not text", where=plan.place(line), found=text, allowed=plan.form.encoding,
            cure=f'state the encoding in a layout, or pass the line over: skip_lines = {{ {line} = "reason" }}',
        )  # fmt: skip
    try:
        row = next(csv.reader([text], delimiter=SEPARATORS[plan.form.separator], strict=True, skipinitialspace=True))
    except csv.Error as error:
        raise ReadingError(
            f"quotation marks that do not close on their line ({error})", where=plan.place(line), found=text,
            allowed='a cell on one line, either plain or wholly in "..."',
            cure=f'pass the line over in a layout: skip_lines = {{ {line} = "reason" }}',
        ) from error  # fmt: skip
    return [cell.strip() for cell in row]


def _row(cells: list[str], line: int, plan: Plan) -> Looked:
    numbers: dict[str, float] = {}
    reasons: list[tuple[Kind, str]] = []
    doubts: list[str] = []
    for column in plan.numbers:
        cell = cells[column.position]
        mark = missing_mark(cell)
        if not mark:
            numbers[column.column], doubt = _number(cell, line, column, plan)
            doubts += [f"{doubt} in column {column.header!r}"] if doubt else []
        elif cell or column.column not in GAPS_ALLOWED:
            kind = Kind.GAP if mark.startswith("no reading") else Kind.OVER_RANGE
            reasons.append((kind, f"{mark} in column {column.header!r}"))
    dark = plan.marked is not None and plan.is_dark(cells[plan.marked], line)
    if reasons:
        return Looked(min(k for k, _ in reasons), "; ".join(r for _, r in reasons), numbers, dark=dark)
    return Looked(Kind.TAKEN, "", numbers, "; ".join(doubts), dark)


def _number(cell: str, line: int, column: NumberColumn, plan: Plan) -> tuple[float, str]:
    place = plan.place(line, column.header)
    try:
        if is_ditto(cell):
            raise NotANumber("a ditto mark in a long log")
        number = number_in(cell, plan.form)
    except NotANumber as error:
        passed = f'pass line {line} over in a layout: skip_lines = {{ {line} = "reason" }}'
        raise ReadingError(
            error.reason, where=place, found=cell, allowed=f"a number in {column.unit.symbol}, or a mark such as ---",
            cure=error.cure or passed,
        ) from error  # fmt: skip
    unit = parse_unit(number.unit, place) if number.unit else column.unit
    return float(bench_values(np.array([number.value]), unit, column.column, place)[0]), number.doubt
