"""The numbers of one run over a session, with all that they hang on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from aotf_lab.reading.source import SourceFile
from aotf_lab.session.rerun.row import ResultCheck, ResultRow

__all__ = ["ResultTable"]


@dataclass(frozen=True, eq=False)
class ResultTable:
    """All numbers of a session as one flat table.

    ``name`` is that of the session; ``sources`` are session.toml, layouts and raw files with their hash; ``versions``
    those of the programs that made the numbers. ``missing`` says of each part that could not be computed why;
    ``failed`` names the checks that did not pass; ``checks`` are all that were asked, passed ones too, and
    none where the file is of a version that kept the failed alone.
    """

    name: str
    rows: tuple[ResultRow, ...]
    sources: tuple[SourceFile, ...]
    versions: Mapping[str, str]
    missing: Mapping[str, str]
    failed: tuple[str, ...]
    checks: tuple[ResultCheck, ...] = ()

    @cached_property
    def by_title(self) -> Mapping[str, ResultRow]:
        """The rows by their title."""
        return {row.title: row for row in self.rows}
