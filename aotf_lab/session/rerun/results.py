"""The results of a session as one flat table, for an archive: so that a run of years later can be held against it."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from importlib.metadata import version
from pathlib import Path
from platform import python_version

import pandas as pd

from aotf_lab.errors import AotfLabError, SessionError
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.given import given_several
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.source import SourceFile
from aotf_lab.session.rerun.collect import checks_of, result_check, rows_of
from aotf_lab.session.rerun.differences import Differences, differences_between
from aotf_lab.session.rerun.failed import failed_in_words
from aotf_lab.session.rerun.file import loaded_results, results_text
from aotf_lab.session.rerun.row import ResultCheck, ResultRow
from aotf_lab.session.rerun.samples import sample_rows, set_point_rows
from aotf_lab.session.rerun.table import ResultTable
from aotf_lab.session.session import Session, given_session

__all__ = ["PROGRAMS", "SessionResults", "all_checks", "results"]

PROGRAMS = ("aotf-lab", "numpy", "scipy", "lmfit", "pandas", "uncertainties")
"""The programs on whose version a number could hang, beside Python."""

_INPUT = "all_readings"
_SET_POINTS = "set_points"
_CUT = "cut"
_OWN_FIT = re.compile(r"efficiency\.own \[(.+)\]")


@dataclass(frozen=True, eq=False)
class SessionResults(ResultTable):
    """All numbers of a session as one flat table, made by ``results`` or read back with ``from_json``."""

    @property
    def table(self) -> pd.DataFrame:
        """One row a number; u is not a number where there is none."""
        columns = ["key", "line", "value", "u", "unit"]
        rows = [(r.key, r.line, r.value, float("nan") if r.u is None else r.u, r.unit) for r in self.rows]
        return pd.DataFrame(rows, columns=columns)

    def __getitem__(self, title: str) -> ResultRow:
        """Return the number of this title, such as "scans.centre_mhz [D]"."""
        if title not in self.by_title:
            raise AotfLabError(
                "no such number", found=title, allowed=f"one of {len(self.rows)} titles", cure="look into .table"
            )
        return self.by_title[title]

    def differences(self, older: SessionResults | str | os.PathLike[str]) -> Differences:
        """Return what these results give otherwise than ``older`` ones, or than those of a file.

        Raises ``RecordError`` for a file that ``from_json`` refuses.
        """
        return differences_between(older if isinstance(older, ResultTable) else self.from_json(older), self)

    def to_json(self, path: str | os.PathLike[str]) -> Path:
        """Write the results, atomically, one number a line, and return the path."""
        target = Path(path)
        write_text_atomically(target, results_text(self))
        return target

    @classmethod
    def from_json(cls, path: str | os.PathLike[str]) -> SessionResults:
        """Return the results that ``to_json`` wrote. Raises ``RecordError`` for a damaged or foreign file."""
        return cls(**loaded_results(path))

    def __str__(self) -> str:
        return rows_text(f"Results of {self.name}", self._shown, self._said)

    def _repr_html_(self) -> str:
        return rows_html(f"Results of {self.name}", self._shown, self._said)

    @cached_property
    def _shown(self) -> tuple[tuple[str, str], ...]:
        return tuple((row.title, str(row).partition(" = ")[2]) for row in self.rows)

    @property
    def _said(self) -> tuple[str, ...]:
        programs = ", ".join(f"{name} {number}" for name, number in self.versions.items())
        missing = (f"not computed: {part}: {why}" for part, why in self.missing.items())
        counted = (f"{failed_in_words(self.failed)}:",) if self.failed else ()
        return (*missing, *counted, *(f"check failed: {check}" for check in self.failed), f"made with {programs}")


def results(session: Session, parts: Iterable[str] | None = None) -> SessionResults:
    """Return every number and check of ``session``, or those of ``parts`` only.

    ``parts`` are names of ``session.parts`` (or one), and "set_points". What cannot be computed stands in ``missing``
    with its reason. Raises ``SessionError`` for a part that the session does not have.
    """
    given_session(session)
    if parts is not None:
        parts = given_several(parts, "parts", "names of parts", "name one")
    wanted = _wanted(session, parts)
    rows: list[ResultRow] = []
    for part in wanted:
        found = session.part(part)
        if found is not None:
            rows += [*rows_of(part, found), *sample_rows(part, session)]
    if parts is None or _SET_POINTS in parts:
        rows += set_point_rows(session)
    checks = all_checks(session, parts)
    troubles = session.troubles if parts is None else {}
    return SessionResults(
        session.facts.name, tuple({row.title: row for row in rows}.values()), tuple(_sources(session)),
        {"python": python_version(), **{name: version(name) for name in PROGRAMS}},
        {part: str(error) for part, error in troubles.items()},
        tuple(dict.fromkeys(check.title for check in checks if not check.passed)), checks,
    )  # fmt: skip


def all_checks(session: Session, parts: Iterable[str] | None = None) -> tuple[ResultCheck, ...]:
    """Return each check of ``session``, or of ``parts`` only, once; those of the session as a whole come last."""
    found = [(part, session.part(part)) for part in _wanted(session, parts)]
    checks = [check for part, result in found if result is not None for check in checks_of(part, result)]
    checks += [result_check("session", check) for check in session.checks] if parts is None else []
    return tuple(dict.fromkeys(check for check in checks if not _told_by_all_lines(check, checks)))


def _told_by_all_lines(check: ResultCheck, checks: Iterable[ResultCheck]) -> bool:
    """Return whether this is a line's own failed check that the fit of all lines takes over, word by word."""
    line = _OWN_FIT.fullmatch(check.of)
    return (
        line is not None
        and not check.passed
        and any(c.name == f"line {line[1]}: {check.name}" and c.detail == check.detail for c in checks)
    )


def _wanted(session: Session, parts: Iterable[str] | None) -> list[str]:
    own = [part for part in session.parts if part != _INPUT]
    own += [_CUT] if "tuning" in own and session.part("tuning") is not None else []
    if parts is None:
        return own
    asked = [part for part in parts if part != _SET_POINTS]
    for part in asked:
        if part not in own:
            raise SessionError(
                "no such part in this session", where=session.facts.name, found=part,
                allowed=", ".join([*own, _SET_POINTS]), cure="name a part that was measured",
            )  # fmt: skip
    return asked


def _sources(session: Session) -> Iterator[SourceFile]:
    """Yield the record of each file of the session once."""
    facts = session.facts
    read = [source for readings in session.all_readings.values() for source in readings.sources]
    yield from {s.name: s for s in (facts.source, *facts.layouts, *facts.kept, *read)}.values()
