"""The checks that passed, gathered by their question: a row each, with the one that came closest to its limit."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from aotf_lab.report.checks import PartCheck
from aotf_lab.report.words import clipped
from aotf_lab.session.rerun.failed import question

__all__ = ["PASSED_HEADS", "PassedRow", "passed_once", "passed_rows"]

PASSED_HEADS = ("Question", "Asked", "Limit used", "The closest to its limit (or the first), with what was found")

_FOUND = 150
"""Characters of what was found; the whole of it stands in the list of all checks."""


@dataclass(frozen=True)
class PassedRow:
    """One question: how often it was asked, how much of its limit the closest used ("" where no number decides)."""

    name: str
    asked: str
    used: str
    closest: str


def passed_rows(checks: Iterable[PartCheck]) -> list[PassedRow]:
    """Return a row for each question that several passed checks answer, in the order in which they were first asked.

    Of checks that no one number decides, the first is told.
    """
    return [_row(name, asked) for name, asked in _by_question(checks).items() if len(asked) > 1]


def passed_once(checks: Iterable[PartCheck]) -> list[tuple[str, str]]:
    """Return (question, what was found) for each question that one passed check answers."""
    once = ((name, asked[0]) for name, asked in _by_question(checks).items() if len(asked) == 1)
    return [(name, clipped(f"{check.part}: {check.detail}", _FOUND)) for name, check in once]


def _by_question(checks: Iterable[PartCheck]) -> dict[str, list[PartCheck]]:
    groups: dict[str, list[PartCheck]] = {}
    for check in checks:
        if check.passed:
            groups.setdefault(question(check.name), []).append(check)
    return groups


def _row(name: str, asked: list[PartCheck]) -> PassedRow:
    counted = [c for c in asked if c.of_limit is not None]
    closest = max(counted, key=lambda c: c.of_limit or 0.0, default=asked[0])
    used = "" if closest.of_limit is None else f"{100 * closest.of_limit:.0f} %"
    return PassedRow(name, str(len(asked)), used, clipped(f"{closest.part}: {closest.detail}", _FOUND))
