"""The receipt of a reading: how a file was understood, and which rows were not taken or are in doubt."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from aotf_lab.estimation.wrapped import printed_columns, text_lines
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.receipt_html import bullets, paragraph, table
from aotf_lab.reading.units import bench_unit

__all__ = ["ColumnReceipt", "FlaggedRow", "Receipt", "RejectedRow", "Setting", "at_most"]

_SHOWN = 5
"""Rows of a long list that the text shows; HTML shows all."""

_WIDEST = 80
"""Characters of a raw row, or of a heading's evidence, that the text shows."""


@dataclass(frozen=True)
class ColumnReceipt:
    """How one column was understood: raw header, meaning, unit found, and the evidence for it.

    ``meaning`` is "" for a column that is not used. Of a column that is used: ``count`` of readings
    taken, ``low`` and ``high`` in the bench unit (None for text), and the first and the last
    reading taken, as it stands in the file and as it was understood.
    """

    header: str
    meaning: str
    unit: str
    evidence: str
    count: int = 0
    low: float | None = None
    high: float | None = None
    first_raw: str = ""
    first: float | str | None = None
    last_raw: str = ""
    last: float | str | None = None


@dataclass(frozen=True)
class RejectedRow:
    """A row that was not taken: its 1-based line in the raw file, its text, and the reason."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True)
class FlaggedRow:
    """A row that was taken although something is in doubt: its 1-based line, its text, and the reason."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True)
class Setting:
    """What a line above the headings states: key and value as written, 1-based line, and its use ("" for none)."""

    key: str
    value: str
    line: int
    use: str = ""


@dataclass(frozen=True)
class Receipt:
    """How one raw file was understood; ``notes`` are conversions and assumptions, in words.

    ``encoding``, ``separator`` and ``decimal_mark`` each say what was found and the evidence for it.
    ``start`` is the clock time of the first reading (naive where the file states no zone), ``layout``
    what makes the next reading of the same export one call.
    """

    file: str
    rows: int
    columns: tuple[ColumnReceipt, ...]
    rejected: tuple[RejectedRow, ...] = ()
    notes: tuple[str, ...] = ()
    flagged: tuple[FlaggedRow, ...] = ()
    encoding: str = ""
    separator: str = ""
    decimal_mark: str = ""
    settings: tuple[Setting, ...] = ()
    start: datetime | None = None
    layout: Layout | None = None

    def __str__(self) -> str:
        lines = [self._head(), *self._form(_SHOWN), *_aligned([c for c in self.columns if c.meaning])]
        lines += [f"{c.header!r} -> nothing: {c.evidence}" for c in self.columns if not c.meaning]
        lines += at_most(_SHOWN, [f"line {r.line} rejected, {r.reason}: {_short(r.text)}" for r in self.rejected])
        lines += at_most(_SHOWN, [f"line {r.line} flagged, {r.reason}: {_short(r.text)}" for r in self.flagged])
        return text_lines([lines[0], *(f"  {line}" for line in (*lines[1:], *self.notes))])

    def _repr_html_(self) -> str:
        """Return the receipt as HTML: one table of columns, with every rejected and flagged row below it."""
        columns = table(
            f"{self.file}: how each column was understood",
            ("heading", "means", "unit found", "readings", "range", "first", "last", "evidence"),
            [_cells(c) for c in self.columns],
        )
        rows = [(r.line, kind, r.reason, r.text) for kind, part in self._doubtful() for r in part]
        doubtful = table("rows not taken, or taken in doubt", ("line", "what", "reason", "as it stands"), rows)
        return "".join(
            (paragraph(self._head()), bullets(self._form(len(self.settings))), columns, doubtful if rows else "",
             bullets(self.notes))
        )  # fmt: skip

    def _doubtful(self) -> tuple[tuple[str, Sequence[RejectedRow | FlaggedRow]], ...]:
        return (("rejected", self.rejected), ("flagged", self.flagged))

    def _head(self) -> str:
        flagged = f", {len(self.flagged)} flagged" if self.flagged else ""
        return f"{self.file}: {self.rows} rows read, {len(self.rejected)} rejected{flagged}"

    def _form(self, shown: int) -> list[str]:
        """Return how the text was taken apart, when the readings start, and ``shown`` of the unused settings."""
        parts = {"encoding": self.encoding, "separator": self.separator, "decimal mark": self.decimal_mark}
        odd = [f"{name}: {found}" for name, found in parts.items() if found and not _PLAIN[name](found)]
        lines = odd or (["UTF-8, commas between cells, decimal points"] if all(parts.values()) else [])
        lines += [f"first reading at {self.start.isoformat(sep=' ')}"] if self.start else []
        used = [_setting(s) for s in self.settings if s.use and not s.use.startswith("not ")]
        kept = [_setting(s) for s in self.settings if s.use.startswith("not ")]
        passed = at_most(shown, [_setting(s) for s in self.settings if not s.use])
        named = (("settings used", used), ("settings", kept), ("settings not used", passed))
        return lines + [f"{name}: {'; '.join(found)}" for name, found in named if found]


def _setting(setting: Setting) -> str:
    where = f"line {setting.line}" if setting.line else "layout"
    return f"{setting.key} = {setting.value} ({where}{f': {setting.use}' if setting.use else ''})"


def at_most(count: int, lines: Sequence[str]) -> list[str]:
    """Return the first ``count`` lines, and how many there are more.

    >>> at_most(2, ["a", "b", "c", "d"])
    ['a', 'b', '... and 2 more']
    """
    more = len(lines) - count
    return [*lines[:count], *([f"... and {more} more"] if more > 0 else [])]


_PLAIN: dict[str, Callable[[str], bool]] = {
    "encoding": lambda found: found.lower().startswith(("utf-8", "ascii")) and "byte order mark" not in found.lower(),
    "separator": lambda found: found.startswith("comma"),
    "decimal mark": lambda found: found.startswith("point"),
}
"""Whether each is that of an ordinary CSV file."""


def _short(text: str) -> str:
    """Return one line of a raw file as the text shows it, without what a terminal would obey."""
    plain = "".join(c if c.isprintable() else " " if c == "\t" else "\ufffd" for c in text)
    return plain if len(plain) <= _WIDEST else f"{plain[:_WIDEST]} ..."


def _symbol(column: ColumnReceipt) -> str:
    """Return the bench unit in which the readings of the column stand, "" for text and plain numbers."""
    return bench_unit(column.meaning).symbol if column.unit else ""


def _range(column: ColumnReceipt) -> str:
    if column.low is None or column.high is None:
        return ""
    return f"{column.low:.6g} to {column.high:.6g} {_symbol(column)}".rstrip()


def _read(raw: str, value: float | str | None) -> str:
    """Return a reading as it stands in the file and, where that is another number, as it was understood."""
    shown = value if isinstance(value, str) else "" if value is None else f"{value:.6g}"
    if not raw or not shown or raw == value:
        return _short(raw) or shown
    try:
        same = not isinstance(value, str) and float(raw) == value
    except ValueError:
        same = False
    return _short(raw) if same else f"{raw!r} -> {shown}"


def _cells(column: ColumnReceipt) -> tuple[str, ...]:
    """Return one row of the table of columns."""
    return (
        column.header or "(no heading)", column.meaning or "nothing", column.unit,
        str(column.count) if column.count else "", _range(column),
        _read(column.first_raw, column.first), _read(column.last_raw, column.last),
        column.evidence,
    )  # fmt: skip


def _aligned(columns: Sequence[ColumnReceipt]) -> Iterator[str]:
    """Yield a line for each column that is used: heading -> meaning, count, range, first and last, evidence.

    Where they are too wide for one line, the evidence, and if need be first and last, stand on a line below.
    """
    rows = []
    for column in columns:
        _, meaning, unit, count, span, first, last, evidence = _cells(column)
        ends = f"{first} ... {last}" if last else first
        rows.append(
            (
                repr(column.header) if column.header else "(no heading)",
                f"-> {meaning}{f' ({unit})' if unit else ''}",
                count,
                span,
                ends,
                evidence,
            )
        )
    widths = [max((len(row[k]) for row in rows), default=0) for k in range(6)]
    shown = [k for k, n in enumerate(widths) if n]
    beside = [k for k in shown if k < 4 or sum(widths[j] + 2 for j in shown if j <= k) <= printed_columns()]
    for row in rows:
        cells = [row[k].rjust(widths[k]) if k == 2 else row[k].ljust(widths[k]) for k in shown]
        yield "  ".join(cells[: len(beside)]).rstrip()
        below = "  ".join(filter(None, (row[k] for k in shown[len(beside) :])))
        if below:
            yield f"    {below}"
