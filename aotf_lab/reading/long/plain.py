"""The plain lines of a piece, many at a time: clock times by their bytes, numbers through pandas."""

from __future__ import annotations

import io
import re

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.reading.cells.marks import LARGEST
from aotf_lab.reading.layout import SEPARATORS
from aotf_lab.reading.long.plan import Plan
from aotf_lab.reading.long.sort_lines import Flags, SortedLines

__all__ = ["plain_numbers", "plain_times"]

Array = NDArray[np.float64]

_MARKS = ["", "-", "--", "---", "----", "-----", "OVER", "over", "Over", "OVLD", "OVL", "OL", "UNDER", "n/a", "N/A"]
"""Marks that pandas turns into NaN, so that their lines are looked at; any other mark costs a second reading."""

_NUMBERS = {
    mark: re.compile(rf"[ ]*[+-]?(?:[0-9]+{point}?[0-9]*|{point}[0-9]+)(?:[eE][+-]?[0-9]+)?[ ]*")
    for mark, point in ((".", r"\."), (",", ","))
}
_TRUTH = re.compile(rb"(?:true|false)", re.IGNORECASE)


def plain_times(lines: SortedLines, plain: Flags | None, plan: Plan) -> tuple[Array | None, Flags | None]:
    """Return the times of the plain lines, and which those are: not those whose stamp is written otherwise."""
    if plan.clock is None:
        return None, plain
    array = np.frombuffer(lines.plain_data(plain), np.uint8)
    if not len(array):
        return np.empty(0), plain
    ends = np.flatnonzero(array == 10)
    starts = np.concatenate([[0], ends[:-1] + 1])
    if plan.cells > 1:
        between = np.flatnonzero(array == ord(SEPARATORS[plan.form.separator])).reshape(len(ends), plan.cells - 1)
        edges = np.column_stack([starts - 1, between, ends])
        starts, ends = edges[:, plan.clock.position] + 1, edges[:, plan.clock.position + 1]
    width = len(plan.clock.example)
    fits = ends - starts == width
    time = np.full(len(starts), np.nan)
    time[fits] = plan.clock.seconds(array[starts[fits, None] + np.arange(width)])
    good = ~np.isnan(time)
    if good.all():
        return time, plain
    return time[good], _narrowed(lines, plain, good)


def plain_numbers(
    lines: SortedLines, plain: Flags | None, plan: Plan
) -> tuple[Array, pd.Series | None, Flags | None, Flags | None]:
    """Return the numbers of the plain lines as written, their marks of dark, which lines those are of all, and
    which of the lines that were plain before (None: all)."""
    data = lines.plain_data(plain)
    if not data:
        return np.empty((0, len(plan.numbers))), None, plain, None
    doubtful = _taken_by_pandas_alone(data, plan)
    try:
        table = None if doubtful else _parsed(data, plan, text=False)
    except ValueError:  # pandas' ParserError is one: a cell is neither a number nor a mark that it knows
        table = None
    before = len(lines) if plain is None else int(np.count_nonzero(plain))
    kept = np.ones(before, bool)
    if table is None:
        kept = _numbers_only(data, plan)
        plain = _narrowed(lines, plain, kept)
        table = _parsed(lines.plain_data(plain), plan, text=False)
    values = table[[c.position for c in plan.numbers]].to_numpy()
    good = (np.abs(values) < LARGEST).all(axis=1)
    words = None if plan.dark is None else table[plan.dark.position]
    if not good.all():
        plain = _narrowed(lines, plain, good)
        kept[np.flatnonzero(kept)[~good]] = False
        values, words = values[good], None if words is None else words[good]
    return values, words, plain, None if kept.all() else kept


def _narrowed(lines: SortedLines, plain: Flags | None, good: Flags) -> Flags:
    """Return which lines are plain when of those that were only the ``good`` ones are."""
    kept = np.ones(len(lines), bool) if plain is None else plain.copy()
    kept[np.flatnonzero(kept)[~good]] = False
    return kept


def _taken_by_pandas_alone(data: bytes, plan: Plan) -> bool:
    """Return whether the bytes may hold what pandas takes for a number and nobody else does: "2e 3", "true"."""
    blank = b" " in data and (b"e " in data or b"E " in data)
    return blank or (plan.words and _TRUTH.search(data) is not None)


def _numbers_only(data: bytes, plan: Plan) -> Flags:
    """Return which lines hold nothing but numbers where numbers are wanted, judged cell by cell."""
    table = _parsed(data, plan, text=True)
    good = np.ones(len(table), bool)
    number = _NUMBERS[plan.form.decimal_mark]
    for column in plan.numbers:
        cells = table[column.position]
        good &= np.fromiter((number.fullmatch(c) is not None for c in cells), bool, len(cells))
    return good


def _parsed(data: bytes, plan: Plan, *, text: bool) -> pd.DataFrame:
    positions: dict[int, str] = {c.position: "str" if text else "float64" for c in plan.numbers}
    if plan.dark is not None:
        positions[plan.dark.position] = "str" if text else "category"
    if not data:
        return pd.DataFrame({p: pd.Series(dtype=t) for p, t in positions.items()})
    marks: dict[int, list[str]] = {c.position: _MARKS for c in plan.numbers}
    table: pd.DataFrame = pd.read_csv(  # type: ignore[call-overload]  # pandas-stubs know columns by name only
        io.BytesIO(data), sep=SEPARATORS[plan.form.separator], header=None, names=list(range(plan.cells)),
        usecols=sorted(positions), dtype=positions, decimal=plan.form.decimal_mark, engine="c", index_col=False,
        keep_default_na=False, na_values=None if text else marks,
        na_filter=not text, skip_blank_lines=False, lineterminator="\n",
    )  # fmt: skip
    return table
