"""What looks wrong in the raw files of a session, in the report's words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from aotf_lab.report.words import count
from aotf_lab.session import SessionCheck

__all__ = ["Finding", "finding_rows", "findings_verdict"]


@dataclass(frozen=True)
class Finding:
    """One thing that looks wrong: where, what, and what to do; ``grave`` when numbers from it cannot be used."""

    where: str
    what: str
    found: str
    cure: str
    grave: bool

    @property
    def detail(self) -> str:
        """What was found and what to do, in sentences but for the last full stop."""
        return f"{self.found}. To do: {self.cure}"


def finding_rows(check: SessionCheck) -> list[Finding]:
    """Return every suspicion and every contradiction of the session, the grave ones first."""
    doubts = [
        Finding(s.where, s.what, f"Found {s.found}; likely: {s.likely_cause}", s.cure, s.unusable)
        for s in check.suspicions
    ]
    against = [
        Finding(c.place, c.what, f"Found {c.found}, stated {c.stated}", c.cure, c.unusable)
        for c in check.contradictions
    ]
    return sorted([*doubts, *against], key=lambda finding: not finding.grave)


def findings_verdict(findings: Iterable[Finding]) -> list[str]:
    """Return the sentence of the verdict that speaks of the files, none when nothing looks wrong."""
    found = list(findings)
    if not found:
        return []
    grave = sum(f.grave for f in found)
    worst = f", {grave} of them so that numbers from the file cannot be used" if grave else ""
    return [f"{count(len(found), 'thing')} in the raw files {'looks' if len(found) == 1 else 'look'} wrong{worst}."]
