"""From a raw file to a table in bench units, with the receipt of how it was understood."""

from __future__ import annotations

import os
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.headers import ColumnMap, Heading, understand_headings
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.long.limit import refuse_long
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.shape.account import column_receipts, encoding_said, flagged_rows, found_layout, rejected_rows
from aotf_lab.reading.shape.block_rows import BlockRows, block_rows
from aotf_lab.reading.shape.blocks import blocks_of
from aotf_lab.reading.shape.column_data import GAPS_ALLOWED, ColumnReader
from aotf_lab.reading.shape.counts import read_scale, speaks_of_counts
from aotf_lab.reading.shape.hints import hints_of
from aotf_lab.reading.shape.interval import sample_interval_s
from aotf_lab.reading.shape.mapped import position_name
from aotf_lab.reading.shape.only_one import Wanted, candidates
from aotf_lab.reading.shape.plain_rows import lines_of, plain_grid
from aotf_lab.reading.shape.settings import Settings, read_settings
from aotf_lab.reading.shape.start import start_of
from aotf_lab.reading.source import source_file
from aotf_lab.reading.text.grid import Grid
from aotf_lab.reading.text.split import split
from aotf_lab.reading.words import TEXT_COLUMNS

__all__ = ["GAPS_ALLOWED", "read_bare_table"]


@dataclass(frozen=True)
class _Understood:
    """A grid with its settings and what its headings mean; ``where`` is file:line of the headings."""

    grid: Grid
    settings: Settings
    headings: tuple[Heading, ...]
    where: str
    reader: ColumnReader


def read_bare_table(
    path: str | os.PathLike[str],
    *,
    columns: ColumnMap | None = None,
    required: Collection[str] = (),
    wanted: Sequence[Wanted] = (),
    layout: Layout | None = None,
    label: str | Sequence[str] = (),
) -> Readings:
    """Return the rows of ``path`` in bench units, as the instruments show them.

    ``required`` names columns that must be there and must not have gaps; they, and those ``wanted``, may be
    found as the only column in their kind of unit. ``columns`` and ``layout`` state what is not to be
    found from the file. ``label`` names lines that have a column each: only their columns are used,
    and become rows with that label. Repeats side by side become rows with a number ``repeat``. Rows with an
    over-range mark, or without a reading where one is needed, are rejected and listed in the receipt.
    The raw file is opened for reading only.

    Raises ``ReadingError`` for a file that cannot be opened, and for everything that ``split``,
    ``understand_headings`` and the cells refuse.
    """
    file = Path(path)
    content = _content(file)
    stated = layout or Layout()
    labels = (label,) if isinstance(label, str) else tuple(label)
    seen = _seen(file.name, content, columns, (required, wanted), stated, labels)
    _require(seen, required)
    has_time = any(h.column == "time_s" for h in seen.headings)
    interval = None if has_time else sample_interval_s(seen.settings)
    blocks = [block_rows(b, seen.reader, interval) for b in blocks_of(seen.headings, seen.where)]
    if not any(len(b.kept) for b in blocks):
        raise _no_row_left(seen.grid, blocks)
    table = _table(file.name, seen.grid, blocks)
    receipt = _receipt(file.name, len(table), seen, blocks, stated)
    return Readings(table, (), (receipt,), (source_file(file, content),))


def _content(file: Path) -> bytes:
    refuse_long(file)
    try:
        return file.read_bytes()
    except OSError as error:
        raise ReadingError(
            "a file that cannot be opened", where=file.name, found=Said(error.strerror or type(error).__name__),
            allowed="a readable text file", cure="check the name and the folder",
        ) from None  # fmt: skip


def _seen(
    name: str,
    content: bytes,
    columns: ColumnMap | None,
    asked: tuple[Collection[str], Sequence[Wanted]],
    stated: Layout,
    labels: Sequence[str],
) -> _Understood:
    """Return the file split and understood; a long log of plain numbers at once where that is all it needs."""
    plain = plain_grid(name, content, stated)
    if plain is not None:
        seen = _understood(plain, columns, *asked, stated, labels)
        if all(map(ColumnReader.is_plain, seen.headings)):
            return seen
    return _understood(split(name, content, stated), columns, *asked, stated, labels)


def _understood(
    grid: Grid, columns: ColumnMap | None, required: Collection[str], wanted: Sequence[Wanted], stated: Layout,
    labels: Sequence[str],
) -> _Understood:  # fmt: skip
    settings = read_settings(grid.preamble, stated.settings, grid.form.decimal_mark)
    scale = read_scale(settings, grid.name) if _has_counts(grid, stated) else None
    headers = grid.header.cells if grid.header else tuple(map(position_name, range(len(grid.rows[0].cells))))
    where = f"{grid.name}:{(grid.header or grid.rows[0]).line}"
    headings = understand_headings(
        headers, where, columns, stated=stated.columns, hints=hints_of(grid, settings), scale=scale,
        titles=grid.titles, wanted=(*required, *wanted), labels=labels,
    )  # fmt: skip
    reader = ColumnReader(grid, required, scale, stated.date_order, stated.skip_lines)
    return _Understood(grid, settings, headings, where, reader)


def _has_counts(grid: Grid, stated: Layout) -> bool:
    """Return whether any heading, unit or statement speaks of counts: only then a scale must be understood."""
    texts = [*(grid.header.cells if grid.header else ()), *(grid.units.cells if grid.units else ())]
    return speaks_of_counts([*texts, *(c.unit for c in stated.columns.values())])


def _require(seen: _Understood, required: Collection[str]) -> None:
    have = {h.column for h in seen.headings}
    missing = [column for column in required if column not in have]
    first = seen.grid.header or seen.grid.rows[0]
    if missing:
        rivals = [h.header for group in candidates(seen.headings, missing[:1]) for h in group]
        what = f"no column that means {' or '.join(missing)}"
        what = what if seen.grid.header else f"no heading row, and {what}"
        what += f"; {', '.join(map(repr, rivals))} are of its kind of unit" if len(rivals) > 1 else ""
        free = rivals or _free(seen.headings, missing[0])
        example = free[0] if free else "..." if seen.grid.header else position_name(0)
        raise ReadingError(
            what, where=seen.where, found=first.text, allowed=f"a heading for each of {', '.join(required)}",
            cure=f'map it in session.toml or in a layout: columns = {{ {missing[0]} = "{example}" }}',
        )  # fmt: skip
    if not have - {"", *TEXT_COLUMNS} and not have - {""}:
        raise ReadingError(
            "no heading was understood" if seen.grid.header else "no heading row, and no column was understood",
            where=seen.where, found=first.text,
            allowed="headings such as 'Drive (V)', 'Frequency (MHz)' or frequency_mhz",
            cure="map the columns under columns in session.toml or in a layout; 'column 1' names the first",
        )  # fmt: skip


def _free(headings: Sequence[Heading], column: str) -> list[str]:
    """Return the headings that may hold ``column``: an optical power in dBm, else the only one without a meaning."""
    unclaimed = [h for h in headings if h.header and not h.column and not h.settled]
    log = [h.header for h in unclaimed if column == "optical_power_mw" and h.own_unit and h.own_unit.symbol == "dBm"]
    return log or ([h.header for h in unclaimed] if len(unclaimed) == 1 and unclaimed[0].own_unit is None else [])


def _no_row_left(grid: Grid, blocks: Sequence[BlockRows]) -> ReadingError:
    rejected = rejected_rows(grid, blocks)
    return ReadingError(
        "no row left: each one was rejected", where=f"{grid.name}:{rejected[0].line}", found=Said(rejected[0].reason),
        allowed="at least one row with a reading in every column that is needed",
        cure="measure again, or map or leave out the column with the gaps",
    )  # fmt: skip


def _table(name: str, grid: Grid, blocks: Sequence[BlockRows]) -> pd.DataFrame:
    """Return the rows of all blocks; repeats of one line stand together, other blocks one below the other."""
    lines = lines_of(grid)
    frames = [pd.DataFrame(b.columns).assign(file=name, line=lines[b.kept], _row=b.kept) for b in blocks]
    table = frames[0] if len(frames) == 1 else pd.concat(frames, ignore_index=True)
    marks = [b.block.marks for b in blocks]
    if len(blocks) > 1 and all(m.repeat and not (m.direction or m.label or m.block) for m in marks):
        table = table.sort_values(["_row", "repeat"], kind="stable", ignore_index=True)
    if "repeat" in table.columns:
        table["repeat"] = table["repeat"].astype(int)
    ends = ["file", "line"]
    return table[[c for c in table.columns if c not in (*ends, "_row")] + ends]


def _receipt(name: str, rows: int, seen: _Understood, blocks: Sequence[BlockRows], stated: Layout) -> Receipt:
    grid = seen.grid
    encoding, separator, decimal = encoding_said(grid.form)
    notes = [*grid.notes, *(n for b in blocks for d in b.data.values() for n in d.notes)]
    if len(blocks) > 1:
        notes.append(f"{len(blocks)} sets of columns side by side, each read as rows of its own")
    starts = [d.start for b in blocks for d in b.data.values() if d.start is not None]
    start = starts[0] if starts else start_of(seen.settings, stated.date_order)
    return Receipt(
        name, rows, column_receipts(seen.headings, blocks), rejected_rows(grid, blocks), tuple(dict.fromkeys(notes)),
        flagged_rows(grid, blocks), encoding, separator, decimal, tuple(seen.settings.entries), start,
        found_layout(grid, seen.headings, stated),
    )  # fmt: skip
