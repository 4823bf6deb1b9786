"""The receipt of a reading: which column was taken to mean what, and which rows were not taken."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ColumnReceipt", "Receipt", "RejectedRow"]


@dataclass(frozen=True)
class ColumnReceipt:
    """How one column was understood: raw header, meaning, unit found, and the evidence for it."""

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
    """How one raw file was understood."""

    file: str
    rows: int
    columns: tuple[ColumnReceipt, ...]
    rejected: tuple[RejectedRow, ...] = ()

    def __str__(self) -> str:
        lines = [f"{self.file}: {self.rows} rows read, {len(self.rejected)} rejected"]
        lines += [f"  {c.header!r} -> {c.meaning} ({c.unit or 'no unit'}): {c.evidence}" for c in self.columns]
        lines += [f"  line {r.line} rejected, {r.reason}: {r.text}" for r in self.rejected]
        return "\n".join(lines)
