"""The rows of one block: values of each column, rows kept, and what is derived without a column of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.shape.blocks import Block
from aotf_lab.reading.shape.column_data import ColumnData, ColumnReader
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.shape.legs import turn_of
from aotf_lab.reading.shape.pairs import middle_and_u
from aotf_lab.reading.shape.plain_rows import lines_of
from aotf_lab.reading.text.grid import RawRow

__all__ = ["BlockRows", "Derived", "block_rows"]


@dataclass(frozen=True)
class Derived:
    """A column that no heading holds: its meaning, unit, and the evidence for it."""

    column: str
    unit: str
    evidence: str


@dataclass
class BlockRows:
    """``kept`` are positions among the rows of the grid; ``columns`` hold one value per kept row.

    ``rejected`` and ``flagged`` are pairs of a position and a reason.
    """

    block: Block
    kept: NDArray[np.int64]
    columns: dict[str, NDArray[np.float64] | list[str]]
    data: dict[int, ColumnData]
    rejected: list[tuple[int, str]] = field(default_factory=list)
    flagged: list[tuple[int, str]] = field(default_factory=list)
    derived: list[Derived] = field(default_factory=list)


def block_rows(block: Block, reader: ColumnReader, interval: tuple[float, str] | None) -> BlockRows:
    """Return the rows of ``block``; ``interval`` is the interval of samples (s) and its evidence."""
    data = {h.position: reader.read(h) for h in block.headings}
    rejected, flagged = _reasons(block, data), _reasons(block, data, flags=True)
    absent = _absent(block, data)
    out = {k for k, _ in rejected} | absent
    count = len(reader.grid.rows)
    kept = np.array([k for k in range(count) if k not in out] if out else np.arange(count), dtype=np.int64)
    rows = BlockRows(block, kept, {}, data, [r for r in rejected if r[0] not in absent],
                     [f for f in flagged if f[0] not in out])  # fmt: skip
    for column, headings in _by_column(block.headings).items():
        for name, values in _values(column, headings, data, kept).items():
            rows.columns[name] = _combined(rows.columns.get(name), values)
    if interval is not None and "time_s" not in rows.columns:
        steps = _steps(lines_of(reader.grid), reader.skipped)
        rows.columns["time_s"] = np.asarray(steps[kept] * interval[0], dtype=np.float64)
        rows.derived.append(Derived("time_s", "s", interval[1]))
    _add_marks(rows)
    _add_legs(rows, reader.grid.rows)
    return rows


def _by_column(headings: Sequence[Heading]) -> dict[str, list[Heading]]:
    own: dict[str, list[Heading]] = {}
    for heading in headings:
        own.setdefault(heading.column, []).append(heading)
    return own


def _reasons(block: Block, data: dict[int, ColumnData], flags: bool = False) -> list[tuple[int, str]]:
    """Return row and reason of every cell that rejects (or flags) its row, in the order of rows."""
    reasons: dict[int, list[str]] = {}
    for heading in block.headings:
        said = data[heading.position].flagged if flags else data[heading.position].rejected
        if any(said):
            for row in (k for k, why in enumerate(said) if why):
                reasons.setdefault(row, []).append(f"{said[row]} in column {heading.header!r}")
    return [(row, why) for row in sorted(reasons) for why in reasons[row]]


def _absent(block: Block, data: dict[int, ColumnData]) -> set[int]:
    """Return the rows in which a block of several columns has no cell at all: it is shorter than its neighbour."""
    if len(block.own) < 2 and not block.marks.block:
        return set()
    empty = [_empty(data[h.position].values) for h in block.own]
    rows = np.flatnonzero(np.logical_and.reduce(empty)).tolist()
    return {k for k in rows if not any(data[h.position].cells[k] for h in block.own)}


def _empty(values: NDArray[np.float64] | list[str]) -> NDArray[np.bool_]:
    return np.array([not v for v in values]) if isinstance(values, list) else np.isnan(values)


def _values(
    column: str, headings: list[Heading], data: dict[int, ColumnData], kept: NDArray[np.int64]
) -> dict[str, NDArray[np.float64] | list[str]]:
    values = data[headings[0].position].values
    if isinstance(values, list):
        return {column: [values[k] for k in kept]}
    if len(headings) == 1:
        return {column: values[kept]}
    parts = {h.marks.part: (h, data[h.position].values) for h in headings}
    least, greatest = parts["min"], parts["max"]
    middle, u = middle_and_u(np.asarray(least[1])[kept], np.asarray(greatest[1])[kept], bool(least[0].reads))
    return {column: middle} if u is None else {column: middle, f"u_{column}": u}


def _combined(
    before: NDArray[np.float64] | list[str] | None, values: NDArray[np.float64] | list[str]
) -> NDArray[np.float64] | list[str]:
    """Return the u of a pair combined with the u that the file states; anything else as it is."""
    if isinstance(before, np.ndarray) and isinstance(values, np.ndarray):
        both = np.hypot(before, values)
        return np.where(np.isnan(before), values, np.where(np.isnan(values), before, both))
    return values


def _steps(lines: NDArray[np.int64], skipped: Sequence[int]) -> NDArray[np.int64]:
    """Return the place of every row among the samples; a line passed over between them was one too."""
    between = np.array([n for n in sorted(skipped) if lines[0] < n < lines[-1]], dtype=np.int64)
    return np.arange(len(lines)) + np.searchsorted(between, lines)


def _add_marks(rows: BlockRows) -> None:
    """Add repeat, direction and label where the marks of the block say them."""
    marks, count = rows.block.marks, len(rows.kept)
    where = ", ".join(repr(h.header) for h in rows.block.own)
    for column, value in (("direction", marks.direction), ("label", marks.label)):
        if value and column not in rows.columns:
            rows.columns[column] = [value] * count
            rows.derived.append(Derived(column, "", f"{value} of {where}"))
    if marks.repeat:
        rows.columns["repeat"] = np.full(count, float(marks.repeat))
        rows.derived.append(Derived("repeat", "", f"{marks.repeat} in {where}"))


def _add_legs(rows: BlockRows, raw: Sequence[RawRow]) -> None:
    """Add the direction of a clean rise and fall of what was set, where nothing else says it."""
    settable = _set_quantity(rows.columns)
    if "direction" in rows.columns or not settable or "label" in rows.columns:
        return
    turn = turn_of(np.asarray(rows.columns[settable], dtype=np.float64))
    if turn is None:
        return
    first, word = turn
    other = "down" if word == "up" else "up"
    rows.columns["direction"] = [word if k < first else other for k in range(len(rows.kept))]
    last, next_ = raw[int(rows.kept[first - 1])].line, raw[int(rows.kept[first])].line
    rows.derived.append(
        Derived("direction", "", f"{settable} goes {word} to line {last} and {other} from line {next_} on")
    )


def _set_quantity(columns: dict[str, NDArray[np.float64] | list[str]]) -> str:
    """Return what was set in steps while the rest was read: drive of an oscillator, frequency of a scan."""
    if "drive_v" in columns and ("frequency_mhz" in columns or "optical_power_mw" in columns):
        return "drive_v"
    light = {"optical_power_mw", "efficiency"} & columns.keys()
    return "frequency_mhz" if "frequency_mhz" in columns and light else ""
