"""The receipt of a reading: how a file was understood, and which rows were not taken or are in doubt."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from aotf_lab.reading.layout import Layout

__all__ = ["ColumnReceipt", "FlaggedRow", "Receipt", "RejectedRow", "Setting"]


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
        lines = [f"{self.file}: {self.rows} rows read, {len(self.rejected)} rejected"]
        for c in self.columns:
            meaning = f"{c.meaning} ({c.unit})" if c.unit else c.meaning or "nothing"
            lines.append(f"  {c.header!r} -> {meaning}: {c.evidence}")
        lines += [f"  line {r.line} rejected, {r.reason}: {r.text}" for r in self.rejected]
        lines += [f"  {note}" for note in self.notes]
        return "\n".join(lines)
