"""From the lines of a piece to arrays: plain lines through pandas, the others one by one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError
from aotf_lab.reading.long.odd_lines import Kind, look_at
from aotf_lab.reading.long.plain import plain_numbers, plain_times
from aotf_lab.reading.long.plan import NumberColumn, Plan
from aotf_lab.reading.long.sort_lines import Flags, SortedLines, one_blank, plain_bytes, sort_lines
from aotf_lab.reading.long.stream import Piece
from aotf_lab.reading.long.tally import Tallies
from aotf_lab.reading.units import bench_values

__all__ = ["Rows", "readings_below", "rows_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Rows:
    """The rows of a piece, readings or not, in the order of the file.

    ``line`` 1-based; ``numbers`` column -> values in bench units (NaN where there is none); ``kind`` a
    ``Kind`` for each row, ``doubt`` and ``dark`` flags; None where no row has any such thing. ``summary`` is
    the first line that reads as a summary below the last reading, 0 for none.
    """

    line: NDArray[np.int64]
    numbers: dict[str, Array]
    kind: NDArray[np.uint8] | None = None
    doubt: Flags | None = None
    dark: Flags | None = None
    summary: int = 0


def rows_of(piece: Piece, plan: Plan) -> tuple[Rows, Tallies]:
    """Return the rows of the piece below the headings, and which lines were not taken or are in doubt.

    Raises ``ReadingError`` for text that is neither a number nor a mark, with file and line.
    """
    data, first = _body(piece, plan)
    if plan.form.separator == "blanks":
        data = one_blank(data)
    form = plan.form
    known = plain_bytes(form.separator, form.decimal_mark, words=plan.words, quotes=plan.clock is None)
    lines = sort_lines(data, form.separator, plan.cells, known)
    plain = _without_skipped(lines, first, plan)
    time, plain = plain_times(lines, plain, plan)
    values, words, plain, kept = plain_numbers(lines, plain, plan)
    line = np.arange(first, first + len(lines), dtype=np.int64)
    numbers = {c.column: _bench(values[:, k], c, plan) for k, c in enumerate(plan.numbers)}
    if time is not None:
        numbers["time_s"] = time if kept is None else time[kept]
    dark = None if words is None else _dark(words, line if plain is None else line[plain], plan)
    rows, tallies = Rows(line, numbers, dark=dark), Tallies()
    if plain is not None:
        rows = _with_odd_lines(lines, plain, rows, plan, tallies)
    if len(lines) and not piece.ended:
        tallies.doubtful.add(
            "the last line has no line end, it may be cut off", int(line[-1]), lines.text(len(lines) - 1)
        )
    return rows, tallies


def _body(piece: Piece, plan: Plan) -> tuple[bytes, int]:
    """Return the lines of the piece from the first reading on, and the number of the first."""
    data, first = piece.data, piece.first_line
    while first < plan.body_line and data:
        data = data[data.index(b"\n") + 1 :]
        first += 1
    return data, first


def _without_skipped(lines: SortedLines, first: int, plan: Plan) -> Flags | None:
    if plan.slow:
        return np.zeros(len(lines), bool)
    skipped = [n - first for n in plan.skip_lines if 0 <= n - first < len(lines)]
    if not skipped:
        return lines.plain
    plain = np.ones(len(lines), bool) if lines.plain is None else lines.plain.copy()
    plain[skipped] = False
    return plain


def _bench(values: Array, column: NumberColumn, plan: Plan) -> Array:
    if column.scale is not None:
        values = column.scale.apply(values)
    return values if column.unit is None else bench_values(values, column.unit, column.column, plan.where)


def _dark(words: pd.Series, line: NDArray[np.int64], plan: Plan) -> Flags:
    """Return which rows are marked dark."""
    codes = words.cat.codes.to_numpy()
    of_code = np.zeros(len(words.cat.categories), bool)
    for code in np.unique(codes).tolist():
        mark = plan.dark
        if mark is not None:
            place = plan.place(int(line[np.argmax(codes == code)]), mark.header)
            of_code[code] = mark.is_dark(str(words.cat.categories[code]), place)
    return of_code[codes]


def _with_odd_lines(lines: SortedLines, plain: Flags, rows: Rows, plan: Plan, tallies: Tallies) -> Rows:
    """Return the rows of all lines: those of the plain ones, which ``rows`` holds, and what the others are."""
    count, at = len(lines), np.flatnonzero(~plain)
    numbers = {name: np.full(count, np.nan) for name in rows.numbers}
    for name, values in rows.numbers.items():
        numbers[name][plain] = values
    kind, doubt, dark = np.zeros(count, np.uint8), np.zeros(count, bool), np.zeros(count, bool)
    if rows.dark is not None:
        dark[plain] = rows.dark
    texts = [lines.text(k) for k in at.tolist()]
    odd = look_at(texts, rows.line[at].tolist(), plan)
    kind[at], dark[at], doubt[at] = odd.kind, odd.dark, [bool(d) for d in odd.doubt]
    for name, values in odd.numbers.items():
        numbers[name][at] = values
    for k, line, text, reason, in_doubt in zip(
        odd.kind, rows.line[at].tolist(), texts, odd.reason, odd.doubt, strict=True
    ):
        if k != Kind.TAKEN:
            (tallies.passed if k >= Kind.NO_ROW else tallies.rejected).add(reason, line, text)
        elif in_doubt:
            tallies.doubtful.add(in_doubt, line, text)
    kept = kind < Kind.NO_ROW
    summary = np.flatnonzero(kind == Kind.SUMMARY)
    if len(summary) and np.any(kind[summary[0] :] == Kind.TAKEN):
        raise readings_below(int(rows.line[summary[0]]), plan, lines.text(int(summary[0])))
    marked = dark[kept] if plan.dark is not None else None
    return Rows(
        rows.line[kept], {n: v[kept] for n, v in numbers.items()}, kind[kept], doubt[kept], marked,
        int(rows.line[summary[0]]) if len(summary) else 0,
    )  # fmt: skip


def readings_below(line: int, plan: Plan, text: str) -> ReadingError:
    """Return the error for what reads as a summary although readings follow it."""
    return ReadingError(
        "a summary with readings below it", where=plan.place(line), found=text,
        allowed="readings, or a summary at the end",
        cure=f'pass the line over in a layout: skip_lines = {{ {line} = "reason" }}',
    )  # fmt: skip
