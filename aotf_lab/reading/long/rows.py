"""From the lines of a piece to arrays: plain lines through pandas, the others one by one."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.reading.cells.marks import LARGEST
from aotf_lab.reading.layout import SEPARATORS
from aotf_lab.reading.long.one_line import Kind, look_at
from aotf_lab.reading.long.plan import Plan
from aotf_lab.reading.long.sort_lines import Flags, SortedLines, one_blank, plain_bytes, sort_lines
from aotf_lab.reading.long.stream import Piece
from aotf_lab.reading.long.tally import Tallies
from aotf_lab.reading.units import bench_values

__all__ = ["Rows", "rows_of"]

Array = NDArray[np.float64]

_MARKS = ["", "-", "--", "---", "----", "-----", "OVER", "over", "Over", "OVLD", "OVL", "OL", "UNDER", "n/a", "N/A"]
"""Marks that pandas turns into NaN, so that their lines are looked at; any other mark costs a second reading."""

_NUMBER = re.compile(r"[ ]*[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?[ ]*")
_TRUTH = re.compile(rb"(?:true|false)", re.IGNORECASE)


@dataclass(frozen=True)
class Rows:
    """The rows of a piece, readings or not, in the order of the file.

    ``line`` 1-based; ``numbers`` column -> values in bench units (NaN where there is none); ``kind`` a
    ``Kind`` for each row, ``doubt`` and ``dark`` flags; None where no row has any such thing.
    """

    line: NDArray[np.int64]
    numbers: dict[str, Array]
    kind: NDArray[np.uint8] | None = None
    doubt: Flags | None = None
    dark: Flags | None = None


def rows_of(piece: Piece, plan: Plan) -> tuple[Rows, Tallies]:
    """Return the rows of the piece below the headings, and which lines were not taken or are in doubt.

    Raises ``ReadingError`` for text that is neither a number nor a mark, with file and line.
    """
    data, first = _body(piece, plan)
    if plan.form.separator == "blanks":
        data = one_blank(data)
    form = plan.form
    lines = sort_lines(
        data, form.separator, plan.cells, plain_bytes(form.separator, form.decimal_mark, words=plan.words)
    )
    plain = _without_skipped(lines, first, plan)
    values, words, plain = _plain_numbers(lines, plain, plan)
    number = np.arange(first, first + len(lines), dtype=np.int64)
    numbers = {c.column: _bench(values[:, k], plan, k) for k, c in enumerate(plan.numbers)}
    tallies = Tallies()
    dark = None if words is None else _dark(words, number if plain is None else number[plain], plan)
    if plain is None:
        return Rows(number, numbers, dark=dark), tallies
    return _with_odd_lines(lines, plain, Rows(number, numbers, dark=dark), plan, tallies), tallies


def _body(piece: Piece, plan: Plan) -> tuple[bytes, int]:
    """Return the lines of the piece from the first reading on, and the number of the first."""
    data, first = piece.data, piece.first_line
    while first < plan.body_line and data:
        data = data[data.index(b"\n") + 1 :]
        first += 1
    return data, first


def _without_skipped(lines: SortedLines, first: int, plan: Plan) -> Flags | None:
    skipped = [n - first for n in plan.skip_lines if 0 <= n - first < len(lines)]
    if not skipped:
        return lines.plain
    plain = np.ones(len(lines), bool) if lines.plain is None else lines.plain.copy()
    plain[skipped] = False
    return plain


def _plain_numbers(lines: SortedLines, plain: Flags | None, plan: Plan) -> tuple[Array, pd.Series | None, Flags | None]:
    """Return the numbers of the plain lines as written, their marks of dark, and which lines those are."""
    data = lines.plain_data(plain)
    if not data:
        return np.empty((0, len(plan.numbers))), None, plain
    doubtful = _taken_by_pandas_alone(data, plan)
    try:
        table = None if doubtful else _parsed(data, plan, text=False)
    except ValueError:  # pandas' ParserError is one: a cell is neither a number nor a mark that it knows
        table = None
    if table is None:
        plain = _numbers_only(data, lines, plain, plan)
        data = lines.plain_data(plain)
        table = _parsed(data, plan, text=False)
    values = table[[c.position for c in plan.numbers]].to_numpy()
    bad = ~(np.abs(values) < LARGEST).all(axis=1)
    words = None if plan.marked is None else table[plan.marked]
    if bad.any():
        taken = np.flatnonzero(plain) if plain is not None else np.arange(len(lines))
        plain = np.ones(len(lines), bool) if plain is None else plain.copy()
        plain[taken[bad]] = False
        return values[~bad], None if words is None else words[~bad], plain
    return values, words, plain


def _taken_by_pandas_alone(data: bytes, plan: Plan) -> bool:
    """Return whether the bytes may hold what pandas takes for a number and nobody else does: "2e 3", "true"."""
    blank = b" " in data and (b"e " in data or b"E " in data)
    return blank or (plan.words and _TRUTH.search(data) is not None)


def _numbers_only(data: bytes, lines: SortedLines, plain: Flags | None, plan: Plan) -> Flags:
    """Return which of the plain lines hold nothing but numbers where numbers are wanted, judged cell by cell."""
    table = _parsed(data, plan, text=True)
    good = np.ones(len(table), bool)
    for column in plan.numbers:
        cells = table[column.position]
        if plan.form.decimal_mark != ".":
            cells = cells.str.replace(plan.form.decimal_mark, ".")
        good &= np.fromiter((_NUMBER.fullmatch(c) is not None for c in cells), bool, len(cells))
    kept = np.ones(len(lines), bool) if plain is None else plain.copy()
    kept[np.flatnonzero(kept)[~good]] = False
    return kept


def _parsed(data: bytes, plan: Plan, *, text: bool) -> pd.DataFrame:
    positions = {c.position: "str" if text else "float64" for c in plan.numbers}
    if plan.marked is not None:
        positions[plan.marked] = "str" if text else "category"
    if not data:
        return pd.DataFrame({p: pd.Series(dtype=t) for p, t in positions.items()})
    return pd.read_csv(
        io.BytesIO(data), sep=SEPARATORS[plan.form.separator], header=None, names=list(range(plan.cells)),
        usecols=sorted(positions), dtype=positions, decimal=plan.form.decimal_mark, engine="c", index_col=False,
        keep_default_na=False, na_values=None if text else {c.position: _MARKS for c in plan.numbers},
        na_filter=not text, skip_blank_lines=False, lineterminator="\n",
    )  # fmt: skip


def _bench(values: Array, plan: Plan, k: int) -> Array:
    column = plan.numbers[k]
    return bench_values(values, column.unit, column.column, plan.place(plan.header.line, column.header))


def _dark(words: pd.Series, line: NDArray[np.int64], plan: Plan) -> Flags:
    """Return which rows are marked dark."""
    codes = words.cat.codes.to_numpy()
    known = np.array(
        [
            plan.is_dark(str(w), int(line[np.argmax(codes == k)]))
            for k, w in enumerate(words.cat.categories)
            if k in codes
        ]
        or [False]
    )
    used = np.flatnonzero(np.isin(np.arange(len(words.cat.categories)), codes))
    of_code = np.zeros(len(words.cat.categories) + 1, bool)
    of_code[used] = known
    return of_code[codes]


def _with_odd_lines(lines: SortedLines, plain: Flags, rows: Rows, plan: Plan, tallies: Tallies) -> Rows:
    """Return the rows of all lines: those of the plain ones, which ``rows`` holds, and what the others turn out to be."""
    count = len(lines)
    numbers = {name: np.full(count, np.nan) for name in rows.numbers}
    for name, values in rows.numbers.items():
        numbers[name][plain] = values
    kind = np.zeros(count, np.uint8)
    doubt = np.zeros(count, bool)
    dark = np.zeros(count, bool)
    if rows.dark is not None:
        dark[plain] = rows.dark
    for k in np.flatnonzero(~plain).tolist():
        line, text = int(rows.line[k]), lines.text(k)
        looked = look_at(text, line, plan)
        kind[k], dark[k], doubt[k] = looked.kind, looked.dark, bool(looked.doubt)
        for name, value in looked.numbers.items():
            numbers[name][k] = value
        if looked.kind is not Kind.TAKEN:
            (tallies.passed if looked.kind is Kind.NO_ROW else tallies.rejected).add(looked.reason, line, text)
        elif looked.doubt:
            tallies.doubtful.add(looked.doubt, line, text)
    kept = kind != Kind.NO_ROW
    marked = dark[kept] if plan.marked is not None else None
    return Rows(rows.line[kept], {n: v[kept] for n, v in numbers.items()}, kind[kept], doubt[kept], marked)
