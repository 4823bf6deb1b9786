"""The raw files of a session as rows of a table: hashes, and the rows that were not taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.reading.receipt import FlaggedRow, RejectedRow
from aotf_lab.session import Session

__all__ = ["FileRow", "file_rows"]

_ROWS_TOLD = 5
"""Of the rows of a file that were rejected or are in doubt, so many are told with their reason."""


@dataclass(frozen=True)
class FileRow:
    """One raw file of the session."""

    name: str
    rows: str
    rejected: str
    flagged: str
    sha256: str


def file_rows(session: Session) -> list[FileRow]:
    """Return every raw file that was read, with its hash and the rows that were not taken."""
    rows = []
    for source in (session.facts.source, *session.facts.layouts, *session.facts.kept):
        rows.append(FileRow(source.name, "–", "–", "–", source.sha256))
    for name, readings in session.all_readings.items():
        rejected = [r for receipt in readings.receipts for r in receipt.rejected]
        flagged = [r for receipt in readings.receipts for r in receipt.flagged]
        hashes = ", ".join(s.sha256 for s in readings.sources)
        rows.append(FileRow(name, str(len(readings.table)), _listed(rejected), _listed(flagged), hashes))
    return rows


def _listed(rows: Sequence[RejectedRow | FlaggedRow]) -> str:
    told = [f"line {r.line}: {r.reason}" for r in rows[:_ROWS_TOLD]]
    more = [f"and {len(rows) - _ROWS_TOLD} more; see aotf-lab check"] if len(rows) > _ROWS_TOLD else []
    return "; ".join(told + more) or "none"
