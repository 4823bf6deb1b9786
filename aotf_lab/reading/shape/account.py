"""What the receipt says of columns, settings and rows, and the layout that makes the next reading one call."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.layout import Layout, StatedColumn
from aotf_lab.reading.receipt import ColumnReceipt, FlaggedRow, RejectedRow
from aotf_lab.reading.shape.block_rows import BlockRows
from aotf_lab.reading.shape.heading import NOT_USED, Heading
from aotf_lab.reading.shape.mapped import position_name
from aotf_lab.reading.text.grid import Grid, TextForm

__all__ = ["column_receipts", "encoding_said", "flagged_rows", "found_layout", "rejected_rows"]


def column_receipts(found: Sequence[Heading], blocks: Sequence[BlockRows]) -> tuple[ColumnReceipt, ...]:
    """Return the account of each heading, and of each column that no heading holds."""
    accounts = [_of_heading(h, [b for b in blocks if h.position in b.data and h.column]) for h in found]
    derived = dict.fromkeys((d.column, d.unit) for block in blocks for d in block.derived)
    return (*accounts, *(_of_derived(column, unit, blocks) for column, unit in derived))


def _of_derived(column: str, unit: str, blocks: Sequence[BlockRows]) -> ColumnReceipt:
    own = [(b, d) for b in blocks for d in b.derived if d.column == column]
    evidence = "; ".join(dict.fromkeys(d.evidence for _, d in own))
    values = [v for b, _ in own for v in b.columns[column]]
    account = ColumnReceipt("", column, unit, evidence, len(values), first=_plain(values[0]), last=_plain(values[-1]))
    return replace(account, low=float(min(values)), high=float(max(values))) if unit else account


def _plain(value: float | str) -> float | str:
    return value if isinstance(value, str) else float(value)


def _of_heading(heading: Heading, blocks: list[BlockRows]) -> ColumnReceipt:
    unit = heading.unit.symbol if heading.unit else ""
    account = ColumnReceipt(heading.header, heading.column, unit, heading.evidence)
    if not blocks:
        return account
    cells = blocks[0].data[heading.position].cells
    values = blocks[0].data[heading.position].values
    kept = blocks[0].kept if len(blocks) == 1 else np.unique(np.concatenate([b.kept for b in blocks]))
    if isinstance(values, list):
        taken = np.array([k for k in kept if values[k]], dtype=np.int64)
        low = high = None
    else:
        taken = kept[~np.isnan(values[kept])]
        low, high = (float(values[taken].min()), float(values[taken].max())) if taken.size else (None, None)
    if not taken.size:
        return account
    first, last = int(taken[0]), int(taken[-1])
    return replace(
        account, count=_count(taken, blocks), low=low, high=high,
        first_raw=cells[first], first=_plain(values[first]), last_raw=cells[last], last=_plain(values[last]),
    )  # fmt: skip


def _count(taken: NDArray[np.int64], blocks: list[BlockRows]) -> int:
    """Return how many rows of the table hold a reading of the column."""
    return len(taken) if len(blocks) == 1 else sum(int(np.isin(b.kept, taken).sum()) for b in blocks)


def rejected_rows(grid: Grid, blocks: Sequence[BlockRows]) -> tuple[RejectedRow, ...]:
    """Return every row that was not taken, by line; reasons of one line that repeat are said once."""
    reasons = _by_row([pair for b in blocks for pair in b.rejected])
    own = [RejectedRow(grid.rows[k].line, grid.rows[k].text, why) for k, why in reasons.items()]
    return tuple(sorted((*grid.rejected, *own), key=lambda r: r.line))


def flagged_rows(grid: Grid, blocks: Sequence[BlockRows]) -> tuple[FlaggedRow, ...]:
    """Return every row that was taken in doubt, by line."""
    reasons = _by_row([pair for b in blocks for pair in b.flagged])
    own = [FlaggedRow(grid.rows[k].line, grid.rows[k].text, why) for k, why in reasons.items()]
    lines = {grid.rows[int(k)].line for b in blocks for k in b.kept} if grid.flagged else set()
    kept = [f for f in grid.flagged if f.line in lines]
    return tuple(sorted((*kept, *own), key=lambda f: f.line))


def _by_row(pairs: Sequence[tuple[int, str]]) -> dict[int, str]:
    reasons: dict[int, dict[str, None]] = {}
    for row, why in pairs:
        reasons.setdefault(row, {})[why] = None
    return {row: "; ".join(whys) for row, whys in reasons.items()}


def encoding_said(form: TextForm) -> tuple[str, str, str]:
    """Return encoding, separator and decimal mark, each with the evidence for it."""
    decimal = {".": "point", ",": "comma"}[form.decimal_mark]
    thousands = f"; thousands marked by {', '.join(map(repr, form.thousands_marks))}" if form.thousands_marks else ""
    return (
        f"{form.encoding}: {form.encoding_evidence}",
        f"{form.separator}: {form.separator_evidence}",
        f"{decimal}: {form.decimal_evidence}{thousands}",
    )


def found_layout(grid: Grid, found: Sequence[Heading], stated: Layout) -> Layout:
    """Return the layout that states what was found; what holds for this one file only is left as it was stated.

    Columns whose marks a layout cannot state (a direction, a line, a pair) are left out: they are found
    again by the same rules.
    """
    form = grid.form
    return replace(
        stated,
        encoding=form.encoding,
        separator=form.separator,
        decimal_mark=form.decimal_mark,
        thousands_mark=stated.thousands_mark if stated.thousands_mark is not None else form.thousands_marks[:1],
        heading_line=grid.header.line if grid.header else 0,
        units_line=grid.units.line if grid.units else 0,
        columns=_columns(found, stated),
    )


def _columns(found: Sequence[Heading], stated: Layout) -> dict[str, StatedColumn]:
    headers = [h.header for h in found]
    columns: dict[str, StatedColumn] = {}
    for column in dict.fromkeys(h.column for h in found if h.column):
        own = [h for h in found if h.column == column]
        plain = all(not (h.marks.part or h.marks.direction or h.marks.label or h.marks.block) for h in own)
        numbers = [h.marks.repeat for h in own]
        alone = not any(h.clock or h.counts or h.behind >= 0 or h.before >= 0 for h in own)
        if plain and alone and numbers in ([0], list(range(1, len(own) + 1))):
            names = tuple(_name(h, headers) for h in own)
            columns[column] = StatedColumn(names, _unit(own, stated.columns.get(column)))
    passed = tuple(_name(h, headers) for h in found if h.evidence.startswith("not used: said so"))
    if passed:
        columns[NOT_USED] = StatedColumn(passed)
    return columns


def _unit(own: Sequence[Heading], stated: StatedColumn | None) -> str:
    """Return the unit to state: that of headings which all share one, and which does not stand in the cells."""
    units = {h.unit.symbol for h in own if h.unit is not None}
    in_cells = any(h.in_cells for h in own)
    return stated.unit if stated and stated.unit else "" if in_cells or len(units) != 1 else units.pop()


def _name(heading: Heading, headers: Sequence[str]) -> str:
    once = headers.count(heading.header) == 1 and heading.header
    return heading.header if once else position_name(heading.position)
