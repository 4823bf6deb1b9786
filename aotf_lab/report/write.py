"""The report: one self-contained HTML file, written atomically."""

from __future__ import annotations

from dataclasses import replace
from importlib.metadata import version
from importlib.resources import files
from pathlib import Path

import jinja2

from aotf_lab.errors import Said, SessionError
from aotf_lab.planning import SetPoints, set_points
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.report.cautions import CAUTIONS
from aotf_lab.report.checks import PartCheck, gathered_checks
from aotf_lab.report.content import (
    DETAIL_HEADS,
    METHOD,
    NOTES,
    SET_POINT_HEADS,
    budget_rows,
    detail_rows,
    set_point_rows,
)
from aotf_lab.report.content_driver import driver_rows
from aotf_lab.report.content_files import file_rows
from aotf_lab.report.content_light import light_rows, light_sentences
from aotf_lab.report.content_numbers import crystal_rows
from aotf_lab.report.content_pace import TYPED_HEADS, advice, generator_notes, pace_rows, play_texts, typed_rows
from aotf_lab.report.content_time import TIME_HEADS, time_table
from aotf_lab.report.content_traces import unused_traces
from aotf_lab.report.content_verdict import trouble_names, verdict
from aotf_lab.report.driver_parts import Driver, driver_of, nothing_computed
from aotf_lab.report.figures import report_figures
from aotf_lab.report.figures_driver import driver_figures
from aotf_lab.report.figures_light import light_figures
from aotf_lab.report.figures_pace import pace_figures
from aotf_lab.report.findings import Finding, finding_rows, findings_verdict
from aotf_lab.report.light_parts import Light, light_of
from aotf_lab.report.pace_parts import Pace, pace_of
from aotf_lab.session import Session, check_session, require_output
from aotf_lab.session.before_rf import before_rf

__all__ = ["report_html", "write_page", "write_report"]


def report_html(session: Session) -> str:
    """Return the report of ``session`` as one HTML page that needs nothing else.

    Raises ``SessionError`` when nothing at all can be computed from the session.
    """
    return _page(session)[0]


def _page(session: Session) -> tuple[str, int]:
    """Return the page, and how many failed checks stand on it."""
    if nothing_computed(session):
        first, *others = session.troubles.values()
        raise SessionError(
            "nothing can be computed from this session",
            where=str(session.facts.folder),
            found=Said(f"{first}" + (f" (and {len(others)} more problems)" if others else "")),
            allowed="at least one curve's readings",
            cure="mend this first",
        )
    checked = check_session(session)
    before = before_rf(session, checked)
    driver = driver_of(session, None if before.start is None else before.start.safe, before.withheld)
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    template = environment.from_string(files("aotf_lab.report").joinpath("template.html").read_text(encoding="utf-8"))
    light = light_of(session, driver)
    pace = pace_of(session, driver.safe is not None)
    checks = gathered_checks(session, driver, light, pace)
    page = template.render(**_content(session, driver, (light, pace), checks, finding_rows(checked))) + "\n"
    return page, sum(not c.passed for c in checks)


def _content(
    session: Session, driver: Driver, parts: tuple[Light, Pace], checks: list[PartCheck], findings: list[Finding]
) -> dict[str, object]:
    """Return what the template lays out."""
    light, pace = parts
    points = _points(session, driver)
    return {
        "title": f"{session.facts.name or session.facts.folder.name}: bench report",
        "note": session.facts.note,
        "verdict": [*verdict(session, driver, points, checks), *light_sentences(light), *findings_verdict(findings)],
        "set_points": set_point_rows(points, None if driver.safe is None else driver.safe.supply_v),
        "set_point_heads": SET_POINT_HEADS,
        "set_point_notes": NOTES,
        "details": detail_rows(points),
        "detail_heads": DETAIL_HEADS,
        "findings": findings,
        "troubles": list(zip(trouble_names(session), map(str, session.troubles.values()), strict=True)),
        "failed": [c for c in checks if not c.passed],
        "passed": [c for c in checks if c.passed],
        "unused": unused_traces(driver),
        "typed": typed_rows(pace),
        "typed_heads": TYPED_HEADS,
        "typed_notes": generator_notes(pace),
        "plays": play_texts(pace),
        "advice": advice(pace),
        "figures": [
            *report_figures(session),
            *light_figures(light),
            *pace_figures(pace),
            *driver_figures(session, driver),
        ],
        "numbers": [*crystal_rows(session), *light_rows(light), *pace_rows(pace), *driver_rows(driver)],
        "budget": budget_rows(points),
        "budget_lines": [p.line for p in points if p.budget],
        "in_time": time_table(session, driver, points),
        "time_heads": TIME_HEADS,
        "assumed": (*session.facts.assumed, *session.facts.remarks),
        "files": file_rows(session),
        "method": METHOD,
        "cautions": CAUTIONS,
        "version": version("aotf-lab"),
    }


def _points(session: Session, driver: Driver) -> SetPoints:
    """Return the set-points, without any supply where none is called safe."""
    if driver.safe is not None:
        return session.set_points()
    return set_points(replace(session.curves, level=None, safe=None), session.wavelengths_nm or None)


def write_report(session: Session, out: str | Path) -> Path:
    """Write the report of ``session`` to ``out`` and return the path; raises as ``write_page`` does."""
    write_page(session, out)
    return Path(out)


def write_page(session: Session, out: str | Path) -> int:
    """Write the report of ``session`` to ``out`` and return how many failed checks stand on it.

    Raises ``SessionError`` as ``report_html`` does, and when ``out`` is a file of the session or its folder is missing.
    """
    target = require_output(session.facts, out)
    page, failed = _page(session)
    write_text_atomically(target, page)
    return failed
