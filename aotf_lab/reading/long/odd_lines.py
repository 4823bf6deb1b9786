"""The lines that are not plain rows of numbers, looked at cell by cell as every other reader does."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.column import read_column
from aotf_lab.reading.cells.marks import is_ditto, is_gap, missing_mark
from aotf_lab.reading.long.plan import NumberColumn, Plan
from aotf_lab.reading.shape.column_data import GAPS_ALLOWED
from aotf_lab.reading.text.cells import cells_of
from aotf_lab.reading.text.furniture import is_rule, summary_reason
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.kinds import kind_of
from aotf_lab.reading.text.lines import comment_of
from aotf_lab.reading.units import UNITLESS, bench_values

__all__ = ["SUMMARY", "Kind", "OddLines", "look_at"]

SUMMARY = "summary"
"""How the reason begins of a line that is one only when no reading follows it."""


class Kind(IntEnum):
    """What a line is: a row taken, a row without a reading, or no row at all."""

    TAKEN = 0
    OVER_RANGE = 1
    GAP = 2
    RAGGED = 3
    NO_ROW = 4
    SUMMARY = 5


@dataclass
class OddLines:
    """What lines turned out to be: kind, reason why not taken, doubt ("" for none), numbers in bench units, dark."""

    kind: NDArray[np.uint8]
    reason: list[str]
    doubt: list[str]
    numbers: dict[str, NDArray[np.float64]]
    dark: NDArray[np.bool_]


def look_at(texts: Sequence[str], lines: Sequence[int], plan: Plan) -> OddLines:
    """Return what the lines hold.

    Comments, blank lines, rules, repeated headings and lines that the layout passes over are no rows; a
    row with too few or too many cells, a gap or an over-range mark is a row without a reading.
    Raises ``ReadingError`` for text that is none of these.
    """
    columns = [c.column for c in plan.numbers] + (["time_s"] if plan.clock else [])
    count = len(lines)
    numbers = {c: np.full(count, np.nan) for c in columns}
    odd = OddLines(np.zeros(count, np.uint8), [""] * count, [""] * count, numbers, np.zeros(count, bool))
    rows: list[int] = []
    cells: list[tuple[str, ...]] = []
    for k, (text, line) in enumerate(zip(texts, lines, strict=True)):
        found = _kind(text, line, plan)
        if isinstance(found, tuple) and isinstance(found[0], Kind):
            odd.kind[k], odd.reason[k] = found
        else:
            rows.append(k)
            cells.append(found)
    for column in plan.numbers if rows else ():
        _read(column, rows, [c[column.position] for c in cells], cells, lines, plan, odd)
    for k, row in zip(rows, cells, strict=True):
        if plan.clock is not None and row[plan.clock.position]:
            place = plan.place(lines[k], plan.clock.header)
            odd.numbers["time_s"][k] = plan.clock.second(row[plan.clock.position], place)
        if plan.dark is not None:
            odd.dark[k] = plan.dark.is_dark(row[plan.dark.position], plan.place(lines[k], plan.dark.header))
    return odd


def _kind(text: str, line: int, plan: Plan) -> tuple[Kind, str] | tuple[str, ...]:
    """Return kind and reason of a line without numbers, or the cells of one that may have them."""
    if line in plan.skip_lines:
        return Kind.NO_ROW, f"passed over by the layout: {plan.skip_lines[line]}"
    if not text.strip():
        return Kind.NO_ROW, "blank line"
    if comment_of(text, plan.form.separator) is not None:
        return Kind.NO_ROW, "comment"
    cells = _cells(text, line, plan)
    if not any(cells):
        return Kind.NO_ROW, "blank line"
    row = RawRow(line, text, cells)
    for known, what in ((plan.header, "headings"), (plan.units, "units")):
        if known is not None and _same(cells, known.cells):
            return Kind.NO_ROW, f"the {what} again"
    if len(cells) > 1 and is_rule(row):
        return Kind.NO_ROW, "a line of dashes"
    first = next(c for c in cells if c)
    if kind_of(first) == "text" and (why := summary_reason(row, plan.width, labels=plan.labels)):
        return Kind.SUMMARY, f"{SUMMARY}: {why}"
    if len(cells) != plan.width:
        few = "few" if len(cells) < plan.width else "many"
        return Kind.RAGGED, f"too {few} cells ({len(cells)} below {plan.width} headings)"
    return cells


def _same(cells: tuple[str, ...], known: tuple[str, ...]) -> bool:
    return [c.casefold() for c in cells[: len(known)]] == [c.casefold() for c in known] and not any(cells[len(known) :])


def _cells(text: str, line: int, plan: Plan) -> tuple[str, ...]:
    passed = f'pass line {line} over in a layout: skip_lines = {{ {line} = "reason" }}'
    if "\ufffd" in text or "\x00" in text:
        raise ReadingError(
            "bytes that are not text", where=plan.place(line), found=text, allowed=plan.form.encoding,
            cure=f"state the encoding in a layout if it is another, or {passed}",
        )  # fmt: skip
    try:
        cells = cells_of(text, plan.form.separator)
    except csv.Error as error:
        raise ReadingError(
            f"quotation marks that do not close on their line ({error})", where=plan.place(line), found=text,
            allowed='a cell on one line, either plain or wholly in "..."', cure=passed,
        ) from None  # fmt: skip
    return cells if any(cells[plan.width :]) else cells[: plan.width]


def _read(
    column: NumberColumn, rows: list[int], cells: list[str], all_cells: list[tuple[str, ...]], lines: Sequence[int],
    plan: Plan, odd: OddLines,
) -> None:  # fmt: skip
    """Read the cells of one column into ``odd``."""

    def place(k: int) -> str:
        return plan.place(lines[rows[k]], column.header)

    ditto = next((k for k, cell in enumerate(cells) if is_ditto(cell)), None)
    if ditto is not None:
        raise ReadingError(
            "a ditto mark in a long log", where=place(ditto), found=cells[ditto],
            allowed="a number, or a mark such as ---",
            cure=f'pass line {lines[rows[ditto]]} over in a layout: skip_lines = {{ {lines[rows[ditto]]} = "reason" }}',
        )  # fmt: skip
    if column.behind >= 0:
        cells = [
            f"{c} {row[column.behind]}" if c and row[column.behind] else c
            for c, row in zip(cells, all_cells, strict=True)
        ]
    if column.scale is None:
        found = read_column(cells, column.unit, column.column, plan.form, place)
        values = found.values
    else:
        found = read_column(cells, UNITLESS, "efficiency", plan.form, place)
        values = bench_values(column.scale.apply(found.values), column.scale.unit, column.column, place(0))
    at = np.array(rows)
    odd.numbers[column.column][at] = values
    for k, cell, why, doubt in zip(rows, cells, found.rejected, found.flagged, strict=True):
        if why and not (is_gap(cell) and column.column in GAPS_ALLOWED):
            kind = Kind.GAP if missing_mark(cell).startswith("no reading") else Kind.OVER_RANGE
            odd.kind[k] = kind if odd.kind[k] == Kind.TAKEN else min(kind, int(odd.kind[k]))
            odd.reason[k] = "; ".join(filter(None, (odd.reason[k], f"{why} in column {column.header!r}")))
        elif doubt:
            odd.doubt[k] = "; ".join(filter(None, (odd.doubt[k], f"{doubt} in column {column.header!r}")))
