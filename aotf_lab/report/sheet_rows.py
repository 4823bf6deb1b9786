"""What the bench sheet says of each line and of each thing that failed, in few words."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.planning import SetPoints
from aotf_lab.report.checks import PartCheck
from aotf_lab.report.content_pace import OUT_OF_REACH, typed_rows
from aotf_lab.report.content_verdict import trouble_names
from aotf_lab.report.findings import Finding
from aotf_lab.report.pace_parts import Pace
from aotf_lab.report.sheet_parts import Failure, SheetLine
from aotf_lab.report.words import clipped, measured
from aotf_lab.session import Session

__all__ = ["failures", "sheet_lines"]

_WORDS, _CURE, _NAMED = 150, 190, 3


def sheet_lines(points: SetPoints, set_rows: list[tuple[str, ...]], pace: Pace) -> list[SheetLine]:
    """Return each line of ``points``; ``set_rows`` are the texts of the table of set-points, in the same order."""
    typed = {name: both for name, *both in (row[:3] for row in typed_rows(pace))}
    return [
        SheetLine(
            p.line,
            row[1],
            row[2],
            row[3],
            _typed(typed.get(p.line, []), bool(typed)),
            measured(p.wavelength_nm),
            p.doubtful,
        )
        for p, row in zip(points, set_rows, strict=True)
    ]


def _typed(both: list[str], any_typed: bool) -> tuple[str, ...]:
    if not any_typed:
        return ()
    return tuple(both) if both and OUT_OF_REACH not in both else (OUT_OF_REACH if both else "–",)


def failures(session: Session, points: SetPoints, checks: list[PartCheck], findings: list[Finding]) -> list[Failure]:
    """Return everything that stands against trusting the sheet, what weighs most first."""
    return [
        *_lines(points),
        *(
            Failure(f"Not computed: {name}", clipped(error.what, _WORDS), "", clipped(error.cure, _CURE))
            for name, error in zip(trouble_names(session), session.troubles.values(), strict=True)
        ),
        *(
            Failure(f"{f.where}, {f.what}", clipped(f.found, _WORDS), "", clipped(f.cure, _CURE))
            for f in findings
            if f.grave
        ),
        *(_check(c) for c in checks if not c.passed),
    ]


def _lines(points: SetPoints) -> Iterator[Failure]:
    for p in points:
        if p.doubtful or not p.reachable:
            title = f"Line {p.line}: {'do not use it' if p.doubtful else 'no set-point'}"
            yield Failure(title, clipped(p.remark, _WORDS), "all of it" if not p.reachable else "", "")


def _check(check: PartCheck) -> Failure:
    parts = check.part.split(", ")
    part = check.part if len(parts) <= _NAMED else f"{parts[0]}, {parts[1]} and {len(parts) - 2} more"
    found, cure = check.found_and_cure
    return Failure(f"{part}: {check.name}", clipped(found, _WORDS), check.lost, clipped(cure, _CURE))
