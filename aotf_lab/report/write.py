"""The report: one self-contained HTML file, written atomically."""

from __future__ import annotations

from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

import jinja2

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.report.cautions import CAUTIONS
from aotf_lab.report.checks import gathered_checks
from aotf_lab.report.content import (
    DETAIL_HEADS,
    METHOD,
    SET_POINT_HEADS,
    budget_rows,
    detail_rows,
    file_rows,
    number_rows,
    set_point_rows,
    trouble_names,
    verdict,
)
from aotf_lab.report.figures import report_figures
from aotf_lab.report.findings import finding_rows, findings_verdict
from aotf_lab.session import Session, check_session, require_output

__all__ = ["report_html", "write_report"]

_NOTES = (
    "Drive in volts as the voltmeter of the oscillator's readings shows; another meter or a generator adds its own "
    "error (\u201cDrive by another meter\u201d). Set RF power to the watts shown on the bench's own scope.",
    "\u201cLight lost, at most\u201d is what the line loses at the 95 % limit of its set-point's frequency error.",
)


def report_html(session: Session) -> str:
    """Return the report of ``session`` as one HTML page that needs nothing else.

    Raises ``SessionError`` when nothing at all can be computed from the session.
    """
    curves = session.curves
    if curves.vco is None and curves.tuning is None and curves.efficiency is None and not curves.scans:
        first, *others = session.troubles.values()
        raise SessionError(
            "nothing can be computed from this session",
            where=str(session.facts.folder),
            found=Said(f"{first}" + (f" (and {len(others)} more problems)" if others else "")),
            allowed="at least one curve's readings",
            cure="mend this first",
        )
    points = session.set_points()
    checks = gathered_checks(session)
    findings = finding_rows(check_session(session))
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    template = environment.from_string(files("aotf_lab.report").joinpath("template.html").read_text(encoding="utf-8"))
    page = template.render(
        title=f"{session.facts.name or session.facts.folder.name}: bench report",
        note=session.facts.note,
        verdict=[*verdict(session, points, checks), *findings_verdict(findings)],
        set_points=set_point_rows(points),
        set_point_heads=SET_POINT_HEADS,
        set_point_notes=_NOTES,
        details=detail_rows(points),
        detail_heads=DETAIL_HEADS,
        findings=findings,
        troubles=list(zip(trouble_names(session), map(str, session.troubles.values()), strict=True)),
        failed=[c for c in checks if not c.passed],
        passed=[c for c in checks if c.passed],
        figures=report_figures(session),
        numbers=number_rows(session),
        budget=budget_rows(points),
        budget_lines=[p.line for p in points if p.budget],
        assumed=(*session.facts.assumed, *session.facts.remarks),
        files=file_rows(session),
        method=METHOD,
        cautions=CAUTIONS,
        version=version("aotf-lab"),
    )
    return page + "\n"


def write_report(session: Session, out: str | Path) -> Path:
    """Write the report of ``session`` to ``out`` and return the path.

    Raises ``SessionError`` as ``report_html`` does, and when ``out`` is a file of the session or its folder is missing.
    """
    target = require_output(session.facts, out)
    write_text_atomically(target, report_html(session))
    return target
