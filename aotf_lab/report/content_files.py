"""The raw files of a session as rows of a table: hashes, and the rows that were not taken."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.reading.receipt import FlaggedRow, RejectedRow
from aotf_lab.reading.source import SourceFile
from aotf_lab.session import Session

__all__ = ["FileRow", "all_files_sha256", "file_rows"]

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
    for source in _stated_files(session):
        rows.append(FileRow(source.name, "–", "–", "–", source.sha256))
    for name, readings in session.all_readings.items():
        rejected = [r for receipt in readings.receipts for r in receipt.rejected]
        flagged = [r for receipt in readings.receipts for r in receipt.flagged]
        hashes = ", ".join(s.sha256 for s in readings.sources)
        rows.append(FileRow(name, str(len(readings.table)), _listed(rejected), _listed(flagged), hashes))
    return rows


def all_files_sha256(session: Session) -> str:
    """Return one SHA-256 for all files of the session, that of what ``sha256sum`` prints of them, sorted."""
    sources = {*_stated_files(session), *(s for readings in session.all_readings.values() for s in readings.sources)}
    listed = "".join(sorted(f"{source.sha256}  {source.name}\n" for source in sources))
    return hashlib.sha256(listed.encode()).hexdigest()


def _stated_files(session: Session) -> tuple[SourceFile, ...]:
    """Return session.toml and what it names beside the files that are read."""
    return (session.facts.source, *session.facts.layouts, *session.facts.kept)


def _listed(rows: Sequence[RejectedRow | FlaggedRow]) -> str:
    told = [f"line {r.line}: {r.reason}" for r in rows[:_ROWS_TOLD]]
    more = [f"and {len(rows) - _ROWS_TOLD} more; see aotf-lab check"] if len(rows) > _ROWS_TOLD else []
    return "; ".join(told + more) or "none"
