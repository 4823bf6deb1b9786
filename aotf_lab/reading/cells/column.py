"""The cells of one column of numbers -> values in its bench unit, and which rows are rejected or in doubt."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cell_unit import CellUnits
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.cells.marks import LARGEST, fill_dittos, is_ditto, missing_mark, spreadsheet_date
from aotf_lab.reading.cells.number import CellNumber, NotANumber, number_in
from aotf_lab.reading.text.grid import TextForm
from aotf_lab.reading.units import Unit, bench_unit, bench_values, is_unit

__all__ = ["ColumnNumbers", "read_column", "units_in"]

Place = Callable[[int], str]

_PLAIN = re.compile(r"^([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))\s?((?:[^\W\d_]{2,})?)$")
_LONG = 30
"""A plain number, alone or before its unit, of fewer characters than these is below the marks of over-range."""
_NOT_PLAIN = re.compile(r"[^0-9+\-.eE\n]")


@dataclass(frozen=True)
class ColumnNumbers:
    """One column understood.

    ``values`` are in the bench unit, NaN where ``rejected`` says why there is none. ``rejected`` and ``flagged``
    hold one reason per row, "" for none. ``units`` are the symbols of the units that stood in cells, in order
    of appearance; ``notes`` say in words where a unit changes and which cells were dittos.
    """

    values: NDArray[np.float64]
    units: tuple[str, ...]
    rejected: tuple[str, ...]
    flagged: tuple[str, ...]
    notes: tuple[str, ...] = ()


def read_column(cells: Sequence[str], unit: Unit | None, column: str, form: TextForm, place: Place) -> ColumnNumbers:
    """Return the numbers in ``cells`` of ``column``, whose heading states ``unit`` (None: it states none).

    A cell's own unit goes before that of the heading. ``place`` gives "file:line, column 'heading'" of a row
    (0-based position), for messages. Raises ``ReadingError`` for text that is neither number nor mark, a
    number without any unit, a unit of another kind, and an uncertainty that is not above zero.

    >>> form = TextForm("utf-8", "", "comma", "", ".", "")
    >>> got = read_column(["850 uW", "1.2mW", "OVER", "1.3?mW"], None, "optical_power_mw", form, "log.csv:{}".format)
    >>> got.values.round(6).tolist(), got.rejected[2], got.flagged[3]
    ([0.85, 1.2, nan, 1.3], "over-range mark 'OVER'", "marked as doubtful: '?'")
    """
    units = CellUnits(unit, column, cells, place)
    shared = _shared_unit(cells, form)
    values = _all_plain([cell[: -len(shared)].rstrip() for cell in cells] if shared else cells, form) if cells else None
    if values is None:
        return _one_by_one(cells, units, column, form, place)
    own, _ = units.of(CellNumber(0.0, shared), 0)
    read = _checked(bench_values(values, own, column, place(0)), cells, column, place)
    return replace(read, units=units.seen(), notes=units.notes())


def units_in(cells: Sequence[str], form: TextForm) -> tuple[str, ...]:
    """Return the texts of the units that stand in the cells, in order of appearance; never raises.

    >>> units_in(["-3.2dBm", "OVER", "12"], TextForm("utf-8", "", "comma", "", ".", ""))
    ('dBm',)
    """
    found: dict[str, None] = {}
    for cell in cells:
        if cell and not cell[-1].isdigit():
            try:
                found[number_in(cell, form).unit] = None
            except NotANumber:
                continue
    found.pop("", None)
    return tuple(found)


def _shared_unit(cells: Sequence[str], form: TextForm) -> str:
    """Return the text of the unit that stands in the first cell and ends every other one, "" for none."""
    try:
        unit = "" if not cells or cells[0][-1:].isdigit() else number_in(cells[0], form).unit
    except NotANumber:
        return ""
    return unit if unit not in ("", "K") and all(cell.endswith(unit) for cell in cells) else ""


def _all_plain(cells: Sequence[str], form: TextForm) -> NDArray[np.float64] | None:
    """Return the numbers when every cell is a plain one, None when one of them is anything else."""
    text = "\n".join(cells)
    if form.decimal_mark == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    if _NOT_PLAIN.search(text):  # no letter but e: what float takes is then a plain number
        return None
    try:
        values = np.array([float(cell) for cell in text.split("\n")])
    except ValueError:
        return None
    doubtful = np.abs(values).max(initial=0.0) >= LARGEST or ("e" in text.lower() and not values.all())
    return None if doubtful or len(values) != len(cells) else values


def _one_by_one(cells: Sequence[str], units: CellUnits, column: str, form: TextForm, place: Place) -> ColumnNumbers:
    filled, dittos = fill_dittos(cells, place) if any(map(is_ditto, set(cells))) else (cells, [])
    values = np.full(len(cells), np.nan)
    rejected, flagged = [""] * len(cells), [""] * len(cells)
    rows: dict[Unit, list[int]] = {}
    comma = form.decimal_mark == ","
    for row, cell in enumerate(filled):
        plain = _PLAIN.match(cell.replace(",", ".") if comma and "." not in cell else "" if comma else cell)
        if plain and len(cell) < _LONG and (not plain[2] or is_unit(plain[2])):
            number = CellNumber(float(plain[1]), plain[2])
        else:
            rejected[row] = missing_mark(cell)
            if rejected[row]:
                continue
            number = _number(cell, cells[row], form, row, units, place)
        unit, value = units.of(number, row)
        values[row], flagged[row] = value, number.doubt
        rows.setdefault(unit, []).append(row)
    for unit, where in rows.items():
        values[where] = bench_values(values[where], unit, column, place(where[0]))
    notes = list(units.notes())
    if dittos:
        notes.append(f"{len(dittos)} ditto marks take the cell above them, the first at {place(dittos[0])}")
    read = _checked(values, filled, column, place)
    return ColumnNumbers(read.values, units.seen(), tuple(rejected), tuple(flagged), tuple(notes))


def _number(cell: str, raw: str, form: TextForm, row: int, units: CellUnits, place: Place) -> CellNumber:
    try:
        return number_in(cell, form)
    except NotANumber as refusal:
        where = place(row)
        skip = pass_over(where)
        likely = spreadsheet_date(cell)
        what = f"a date in a number: a spreadsheet probably made it of {likely}" if likely else refusal.reason
        cure = f"export the readings again with this column as text, or {skip}" if likely else skip
        if refusal.cure and not likely:
            cure = f"{refusal.cure}; or {skip}"
        shown = f" in {units.expected()}" if units.expected() else ""
        allowed = f"a finite number{shown}, such as 1{form.decimal_mark}25"
        raise ReadingError(what, where=where, found=raw, allowed=allowed, cure=cure) from None


def _checked(values: NDArray[np.float64], cells: Sequence[str], column: str, place: Place) -> ColumnNumbers:
    """Return the column when no standard uncertainty in it is zero or below."""
    bad = np.flatnonzero(values <= 0.0) if column.startswith("u_") else np.array([], dtype=int)
    if bad.size:
        row = int(bad[0])
        raise ReadingError(
            "a standard uncertainty that is not above zero", where=place(row), found=cells[row],
            allowed=f"a number above 0 {bench_unit(column).symbol}".strip(),
            cure="state the uncertainty, or pass the column over in a layout where it is unknown",
        )  # fmt: skip
    nothing = ("",) * len(values)
    return ColumnNumbers(values, (), nothing, nothing)
