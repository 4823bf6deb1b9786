"""The cells of one understood heading: their values, and which rows are rejected or in doubt."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.column import read_column, units_in
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.cells.marks import fill_dittos, is_ditto, is_gap
from aotf_lab.reading.cells.words import direction_of, medium_of
from aotf_lab.reading.clock.stamps import Clock, seconds_of
from aotf_lab.reading.shape.counts import Scale
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.shape.mapped import position_name
from aotf_lab.reading.shape.plain_rows import PlainCells, PlainRows
from aotf_lab.reading.shape.split_heading import is_count_unit
from aotf_lab.reading.text.grid import Grid, RawRow
from aotf_lab.reading.units import UNITLESS, bench_values

__all__ = ["GAPS_ALLOWED", "ColumnData", "ColumnReader"]

GAPS_ALLOWED = frozenset({"temperature_c", "supply_v", "supply_a", "time_s", "direction", "label"})
"""Columns in which an empty cell is ordinary (a thermometer read every fifth row): it becomes NaN or
"". So does an empty u. In any other column an empty cell rejects its row, in the receipt."""

_PLAIN_NUMBER = ("efficiency", UNITLESS)
"""Column and unit as which counts are read: a number as it stands."""


@dataclass(frozen=True)
class ColumnData:
    """Values of every row (NaN or "" for none), the raw cells, and a reason per row to reject or to flag it."""

    values: NDArray[np.float64] | list[str]
    cells: Sequence[str]
    rejected: Sequence[str]
    flagged: Sequence[str]
    notes: tuple[str, ...] = ()
    start: datetime | None = None


class ColumnReader:
    """Reads the columns of one grid.

    ``required`` names those that must not have gaps, ``skipped`` the lines that a layout passes over.
    """

    def __init__(
        self,
        grid: Grid,
        required: Collection[str],
        scale: Scale | None = None,
        date_order: str | None = None,
        skipped: Collection[int] = (),
    ) -> None:
        self.grid, self.required, self.scale, self.date_order = grid, required, scale, date_order
        self.skipped = tuple(skipped)
        self._kept: dict[int, ColumnData] = {}

    def read(self, heading: Heading) -> ColumnData:
        """Return the data of ``heading``; raises ``ReadingError`` for what its cells must not hold."""
        rows: Sequence[RawRow] = self.grid.rows
        if heading.position not in self._kept and isinstance(rows, PlainRows):
            self._kept[heading.position] = self._plain(heading, rows)
        if heading.position not in self._kept:
            cells = self._cells(heading)
            data = self._text(heading, cells) if heading.unit is None else self._numbers(heading, cells)
            self._kept[heading.position] = self._without_gaps(heading, data)
        return self._kept[heading.position]

    @staticmethod
    def is_plain(heading: Heading) -> bool:
        """Return whether the cells of ``heading`` need nothing but their numbers."""
        beside = heading.before >= 0 or heading.behind >= 0
        ordinary = heading.unit is not None and not heading.column.startswith("u_")
        return not heading.column or (ordinary and not (heading.clock or heading.in_cells or beside))

    def _plain(self, heading: Heading, rows: PlainRows) -> ColumnData:
        """Return the data of a column of plain numbers."""
        values, place = rows.values[:, heading.position], self._place(heading)
        column, unit = heading.reads or heading.column, heading.unit or UNITLESS
        if heading.counts and self.scale is not None:
            values, unit = self.scale.apply(values), self.scale.unit
        values = bench_values(values, unit, column, place(0))
        nothing = ("",) * len(values)
        data = ColumnData(values, PlainCells(rows, heading.position), nothing, nothing)
        return _with_falls(data, values) if heading.column == "time_s" else data

    def _cells(self, heading: Heading) -> list[str]:
        cells = [row.cells[heading.position] for row in self.grid.rows]
        if heading.before >= 0:
            dates = fill_dittos([row.cells[heading.before] for row in self.grid.rows], self._place(heading))[0]
            cells = [f"{date} {cell}" if cell and date else cell for date, cell in zip(dates, cells, strict=True)]
        if heading.behind >= 0:
            units = fill_dittos([row.cells[heading.behind] for row in self.grid.rows], self._place(heading))[0]
            cells = [f"{c} {u}" if c and u and not is_ditto(c) else c for c, u in zip(cells, units, strict=True)]
        return cells

    def _place(self, heading: Heading) -> Callable[[int], str]:
        column = f"column {(heading.header or position_name(heading.position))!r}"
        return lambda row: f"{self.grid.name}:{self.grid.rows[row].line}, {column}"

    def _text(self, heading: Heading, cells: list[str]) -> ColumnData:
        place = self._place(heading)
        filled = fill_dittos(cells, place)[0] if any(map(is_ditto, set(cells))) else cells
        read = {"direction": direction_of, "medium": medium_of}.get(heading.column)
        values = [read(c, place(k)) if c and read else c for k, c in enumerate(filled)]
        rejected = ["no reading" if not c else "" for c in filled]
        return ColumnData(values, cells, rejected, [""] * len(cells))

    def _numbers(self, heading: Heading, cells: list[str]) -> ColumnData:
        place = self._place(heading)
        if heading.clock:
            clock = seconds_of(cells, place, self.date_order, _bracketed(heading.header))
            return _of_clock(clock, cells, clock.rejected)
        column, unit = _PLAIN_NUMBER if heading.counts else (heading.reads or heading.column, heading.unit)
        unit = None if heading.in_cells else unit
        odd = [u for u in units_in(cells, self.grid.form) if not is_count_unit(u)] if heading.counts else []
        if odd:
            raise _unit_of_counts(odd[0], cells, place)
        numbers = read_column(cells, unit, column, self.grid.form, place)
        values, notes = numbers.values, numbers.notes
        if heading.counts and self.scale is not None:
            values = bench_values(self.scale.apply(values), self.scale.unit, heading.reads or heading.column, place(0))
        data = ColumnData(values, cells, numbers.rejected, numbers.flagged, notes)
        return _with_falls(data, values) if heading.column == "time_s" else data

    def _without_gaps(self, heading: Heading, data: ColumnData) -> ColumnData:
        """Return the data with its gaps no reason to reject a row, where gaps are ordinary."""
        column = heading.column
        allowed = (column in GAPS_ALLOWED or column.startswith("u_")) and column not in self.required
        if not allowed or not any(data.rejected):
            return data
        gaps = [bool(r) and is_gap(c) for r, c in zip(data.rejected, data.cells, strict=True)]
        kept = ["" if gap else r for gap, r in zip(gaps, data.rejected, strict=True)]
        flagged = ["no label" if gap else f for gap, f in zip(gaps, data.flagged, strict=True)]
        return replace(data, rejected=kept, flagged=flagged if column == "label" else data.flagged)


def _unit_of_counts(unit: str, cells: Sequence[str], place: Callable[[int], str]) -> ReadingError:
    row = next((k for k, cell in enumerate(cells) if cell.rstrip().endswith(unit)), 0)
    return ReadingError(
        "a unit in a column of counts", where=place(row), found=cells[row], allowed="plain numbers of counts",
        cure=pass_over(place(row)),
    )  # fmt: skip


def _of_clock(clock: Clock, cells: list[str], rejected: Sequence[str]) -> ColumnData:
    return ColumnData(clock.time_s, cells, rejected, clock.flagged, clock.notes, clock.start)


def _with_falls(data: ColumnData, time_s: NDArray[np.float64]) -> ColumnData:
    """Return the data with rows flagged at which a counted time falls; the times stay as the file states them."""
    rows = np.flatnonzero(~np.isnan(time_s))
    steps = np.diff(time_s[rows])
    falls = np.flatnonzero(steps < 0)
    if not falls.size:
        return data
    if falls.size > np.sum(steps > 0):
        return replace(data, notes=(*data.notes, "the time falls down the column: rows kept in the order of the file"))
    flagged = list(data.flagged)
    for k in falls:
        said = f"time falls by {-steps[k]:g} s: a counter that began anew, or a row out of order; kept as it stands"
        flagged[rows[k + 1]] = "; ".join(filter(None, (flagged[rows[k + 1]], said)))
    return replace(data, flagged=flagged)


def _bracketed(header: str) -> str:
    """Return what stands in brackets at the end of a heading."""
    match = re.search(r"[(\[]([^()\[\]]*)[)\]]$", header)
    return match[1] if match else ""
