"""A long log of nothing but plain numbers: its rows read at once, and cut into cells only where they are asked for.

The first lines decide how the file is written, as in any file. The rest is taken this way only when
every character of it can stand in a plain number or between two of them, and every line parses; anything
else (a mark, a unit, a remark, a row too short) leaves the file to the ordinary way.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, cast, overload

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import SEPARATORS, Layout
from aotf_lab.reading.text.grid import Grid, RawRow
from aotf_lab.reading.text.split import split

__all__ = ["PlainCells", "PlainRows", "lines_of", "plain_grid"]

_LEAST_BYTES = 200_000
_HEAD_LINES = 120
_OF_NUMBERS = b"0123456789.+-\n"
_LARGEST = 9.8e37
_EXACT: dict[str, Any] = {"float_precision": "round_trip"} if int(pd.__version__.split(".")[0]) < 3 else {}
"""pandas 3 reads a decimal number as the nearest float by default; before, only when asked."""


class PlainRows(Sequence[RawRow]):
    """The rows of a body of plain numbers; ``values`` (rows, columns) are its numbers as they stand."""

    def __init__(self, body: bytes, first_line: int, separator: str, values: NDArray[np.float64]) -> None:
        self._body, self._separator, self.values = body, separator, values
        ends = np.flatnonzero(np.frombuffer(body, dtype=np.uint8) == ord("\n"))
        self._starts = np.concatenate([[0], ends + 1])
        self.lines: NDArray[np.int64] = first_line + np.arange(len(values))

    def __len__(self) -> int:
        return len(self.values)

    @overload
    def __getitem__(self, index: int) -> RawRow: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[RawRow, ...]: ...
    def __getitem__(self, index: int | slice) -> RawRow | tuple[RawRow, ...]:
        if isinstance(index, slice):
            return tuple(self[k] for k in range(*index.indices(len(self))))
        position = range(len(self))[int(index)]
        text = self._body[self._starts[position] : self._starts[position + 1] - 1].decode("ascii")
        return RawRow(int(self.lines[position]), text, tuple(c.strip() for c in text.split(self._separator)))

    def __iter__(self) -> Iterator[RawRow]:
        return (self[k] for k in range(len(self)))


class PlainCells(Sequence[str]):
    """One column of ``PlainRows`` as text."""

    def __init__(self, rows: PlainRows, position: int) -> None:
        self._rows, self._position = rows, position

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[str, ...]: ...
    def __getitem__(self, index: int | slice) -> str | tuple[str, ...]:
        if isinstance(index, slice):
            return tuple(row.cells[self._position] for row in self._rows[index])
        return self._rows[index].cells[self._position]


def lines_of(grid: Grid) -> NDArray[np.int64]:
    """Return the 1-based line of every row."""
    rows: Sequence[RawRow] = grid.rows
    return rows.lines if isinstance(rows, PlainRows) else np.array([row.line for row in rows], dtype=np.int64)


def plain_grid(name: str, content: bytes, layout: Layout) -> Grid | None:
    """Return the grid of a long log of plain numbers, None for any other file; its rows are ``PlainRows``."""
    if len(content) < _LEAST_BYTES or not content.endswith(b"\n") or layout.skip_lines:
        return None
    head_end = _end_of_line(content, _HEAD_LINES)
    if head_end < 0:
        return None
    try:
        head = split(name, content[:head_end], layout)
    except ReadingError:
        return None
    form = head.form
    separator = SEPARATORS.get(form.separator, " ")
    first = head.rows[0].line
    consecutive = [row.line for row in head.rows] == list(range(first, _HEAD_LINES + 1))
    if head.rejected or head.flagged or form.decimal_mark != "." or separator == " " or not consecutive:
        return None
    body = content[_end_of_line(content, first - 1) :]
    body = body.replace(b"\r\n", b"\n") if b"\r" in body else body
    if form.thousands_marks or body.translate(None, _OF_NUMBERS + separator.encode()):
        return None
    values = _values(body, separator, len(head.rows[0].cells))
    if values is None:
        return None
    rows = PlainRows(body, first, separator, values)
    evidence = f"{form.separator_evidence}; all {len(rows)} rows are plain numbers"
    form = replace(form, separator_evidence=evidence)
    return replace(head, form=form, rows=cast("tuple[RawRow, ...]", rows))


def _end_of_line(content: bytes, count: int) -> int:
    """Return where the line behind the first ``count`` begins, -1 where there are not so many."""
    end = 0
    for _ in range(count):
        end = content.find(b"\n", end) + 1
        if end == 0:
            return -1
    return end


def _values(body: bytes, separator: str, width: int) -> NDArray[np.float64] | None:
    try:
        table = pd.read_csv(
            io.BytesIO(body), sep=separator, header=None, dtype=np.float64, na_filter=False,
            skip_blank_lines=False, index_col=False, names=range(width), **_EXACT,
        )  # fmt: skip
    except ValueError:  # an empty cell, a row of another width, or what is no number
        return None
    values = table.to_numpy()
    usable = len(values) == body.count(b"\n") and np.all(np.abs(values) < _LARGEST)  # NaN is not
    return values if usable else None
