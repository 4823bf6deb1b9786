"""The receipt of a reading: which column was taken to mean what, and which rows were not taken."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ColumnReceipt", "Receipt", "RejectedRow"]


@dataclass(frozen=True)
class ColumnReceipt:
    """How one column was understood: raw header, meaning, unit found, and the evidence for it.

    ``meaning`` is "" for a column that is not used.
    """

    header: str
    meaning: str
    unit: str
    evidence: str


@dataclass(frozen=True)
class RejectedRow:
    """A row that was not taken: its 1-based line in the raw file, its text, and the reason."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True)
class Receipt:
    """How one raw file was understood; ``notes`` are conversions and assumptions, in words."""

    file: str
    rows: int
    columns: tuple[ColumnReceipt, ...]
    rejected: tuple[RejectedRow, ...] = ()
    notes: tuple[str, ...] = ()

    def __str__(self) -> str:
        lines = [f"{self.file}: {self.rows} rows read, {len(self.rejected)} rejected"]
        for c in self.columns:
            meaning = f"{c.meaning} ({c.unit})" if c.unit else c.meaning or "nothing"
            lines.append(f"  {c.header!r} -> {meaning}: {c.evidence}")
        lines += [f"  line {r.line} rejected, {r.reason}: {r.text}" for r in self.rejected]
        lines += [f"  {note}" for note in self.notes]
        return "\n".join(lines)
