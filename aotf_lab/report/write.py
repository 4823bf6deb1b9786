"""The report: one self-contained HTML file, or a PDF, written atomically."""

from __future__ import annotations

from dataclasses import astuple, replace
from importlib.metadata import version
from pathlib import Path

from aotf_lab.errors import Said, SessionError
from aotf_lab.planning import SetPoints, set_points
from aotf_lab.reading.atomic import write_bytes_atomically
from aotf_lab.report.cautions import CAUTIONS
from aotf_lab.report.checks import PartCheck, gathered_checks, told_nowhere
from aotf_lab.report.checks_passed import PASSED_HEADS, passed_once, passed_rows
from aotf_lab.report.content import (
    DETAIL_HEADS,
    NOTES,
    SET_POINT_HEADS,
    budget_rows,
    detail_rows,
    set_point_rows,
)
from aotf_lab.report.content_driver import driver_rows
from aotf_lab.report.content_files import all_files_sha256, file_rows
from aotf_lab.report.content_light import light_rows, light_sentences
from aotf_lab.report.content_method import method
from aotf_lab.report.content_numbers import NUMBER_HEADS, crystal_rows
from aotf_lab.report.content_pace import TYPED_HEADS, advice, generator_notes, pace_rows, typed_rows
from aotf_lab.report.content_plays import play_texts
from aotf_lab.report.content_time import TIME_HEADS, time_table
from aotf_lab.report.content_traces import unused_traces
from aotf_lab.report.content_verdict import trouble_texts, verdict
from aotf_lab.report.driver_parts import Driver, driver_of, nothing_computed
from aotf_lab.report.figures import in_rows, report_figures
from aotf_lab.report.figures_driver import driver_figures
from aotf_lab.report.figures_light import light_figures
from aotf_lab.report.figures_pace import pace_figures
from aotf_lab.report.findings import Finding, finding_rows, findings_verdict
from aotf_lab.report.light_parts import Light, light_of
from aotf_lab.report.pace_parts import Pace, pace_of
from aotf_lab.report.page import rendered
from aotf_lab.report.pdf import pdf_of, require_pdf
from aotf_lab.report.sheet import bench_sheet
from aotf_lab.report.sheet_rows import Texts
from aotf_lab.report.words import count
from aotf_lab.session import Session, check_session, require_output
from aotf_lab.session.before_rf import before_rf
from aotf_lab.session.rerun.differences import Differences
from aotf_lab.session.rerun.results import all_checks
from aotf_lab.session.rerun.results import results as all_results
from aotf_lab.session.rerun.row import ResultCheck

__all__ = ["ENDINGS", "PAPERS", "against_archive", "report_html", "write_page", "write_report"]

ENDINGS = (".html", ".htm", ".pdf")
PAPERS = ("A4", "letter")


def report_html(session: Session) -> str:
    """Return the report of ``session`` as one HTML page that needs nothing else.

    Raises ``SessionError`` when nothing at all can be computed from the session.
    """
    return _page(session)[0]


def _page(
    session: Session, paper: str | None = None, against: Differences | None = None, results: str = ""
) -> tuple[str, tuple[str, ...]]:
    """Return the page, and the titles of the checks that failed; ``results`` names the file written beside it."""
    if nothing_computed(session):
        raise _nothing(session)
    checked = check_session(session)
    before = before_rf(session, checked)
    driver = driver_of(session, None if before.start is None else before.start.safe, before.withheld, before.trusts_pad)
    light = light_of(session, driver)
    pace = pace_of(session, driver.safe is not None)
    checks = gathered_checks(session, driver, light, pace)
    failed = [c for c in all_checks(session) if not c.passed]
    content = _content(session, driver, (light, pace), (checks, failed), finding_rows(checked))
    page = rendered("template.html", paper=paper, against=against, results=results, **content)
    return page, tuple(dict.fromkeys(c.title for c in failed))


def _nothing(session: Session) -> SessionError:
    """Return why there is no report: no raw file at all, or the first problem, in its own words."""
    what, folder = "nothing can be computed from this session", session.facts.folder
    if not session.facts.files:
        return SessionError(
            what, where=f"{folder}", found=Said("session.toml without any raw file"),
            allowed="at least one curve's readings",
            cure="put the raw files beside it and name each in a [[file]]; 'aotf-lab new FOLDER' writes an example",
        )  # fmt: skip
    first, *others = session.troubles.values()
    more = f"; then mend {count(len(others), 'more problem')} that 'aotf-lab check' names" if others else ""
    place = ", ".join(filter(None, (f"{folder}", first.where)))
    return SessionError(
        f"{what}: {first.what}", where=place, found=first.found, allowed=first.allowed, cure=f"{first.cure}{more}"
    )


def _content(
    session: Session, driver: Driver, parts: tuple[Light, Pace], judged: tuple[list[PartCheck], list[ResultCheck]],
    findings: list[Finding],
) -> dict[str, object]:  # fmt: skip
    """Return what the template lays out."""
    (light, pace), (checks, failed) = parts, judged
    points = _points(session, driver)
    set_rows = set_point_rows(points, None if driver.safe is None else driver.safe.supply_v)
    texts = Texts(set_rows, typed_rows(pace), all_files_sha256(session))
    return {
        "title": f"{session.facts.name or session.facts.folder.name}: bench report",
        "sheet": bench_sheet(session, (driver, light, pace), points, texts, (checks, findings)),
        "verdict": [
            *verdict(session, driver, points, checks, failed),
            *light_sentences(light),
            *findings_verdict(findings),
        ],
        "set_points": set_rows,
        "set_point_heads": SET_POINT_HEADS,
        "set_point_notes": NOTES,
        "details": detail_rows(points, session.troubles.values()),
        "detail_heads": DETAIL_HEADS,
        "findings": findings,
        "troubles": trouble_texts(session),
        "failed": [c for c in checks if not c.passed],
        "told_nowhere": told_nowhere(failed, checks, driver, pace),
        "passed": [c for c in checks if c.passed],
        "passed_rows": [astuple(row) for row in passed_rows(checks)],
        "passed_once": passed_once(checks),
        "passed_heads": PASSED_HEADS,
        "unused": unused_traces(driver),
        "typed": texts.typed,
        "typed_heads": TYPED_HEADS,
        "typed_notes": generator_notes(pace),
        "plays": play_texts(pace),
        "advice": advice(pace),
        "figures": in_rows(
            [
                *report_figures(session),
                *light_figures(light),
                *pace_figures(pace),
                *driver_figures(session, driver),
            ]
        ),
        "numbers": [
            astuple(row) for row in (*crystal_rows(session), *light_rows(light), *pace_rows(pace), *driver_rows(driver))
        ],
        "number_heads": NUMBER_HEADS,
        "budget": budget_rows(points),
        "budget_lines": [p.line for p in points if p.budget],
        "in_time": time_table(session, driver, points),
        "time_heads": TIME_HEADS,
        "assumed": (*session.facts.assumed, *session.facts.remarks),
        "files": file_rows(session),
        "all_files": texts.all_files,
        "method": method(session, (driver, light, pace), texts.all_files),
        "cautions": CAUTIONS,
        "version": version("aotf-lab"),
    }


def _points(session: Session, driver: Driver) -> SetPoints:
    """Return the set-points, without any supply where none is called safe."""
    if driver.safe is not None:
        return session.set_points()
    return set_points(replace(session.curves, level=None, safe=None), session.wavelengths_nm or None)


def write_report(
    session: Session, out: str | Path, *, results: str | Path | None = None, paper: str | None = None
) -> Path:
    """Write the report of ``session`` to ``out`` and return the path.

    ``out`` ends in .html (.htm), or in .pdf where WeasyPrint is installed. ``results`` is a file for every number and
    check as JSON: written where it is not there, else left, and the report says what differs from it. ``paper`` is "A4"
    or "letter"; None leaves the size to the printer, in a PDF to A4. All is written atomically, or nothing.

    Raises ``SessionError`` where nothing can be computed from the session, for another ending or paper, and when
    ``out`` or ``results`` is a file of the session or its folder is missing; ``RecordError`` for ``results`` that are
    damaged or no results; ``AotfLabError`` for a PDF without WeasyPrint.
    """
    write_page(session, out, results=results, paper=paper)
    return Path(out)


def against_archive(session: Session, results: str | Path) -> Differences | None:
    """Return how the numbers of ``session`` differ from those in the file ``results``, None where it is not there."""
    return all_results(session).differences(results) if Path(results).exists() else None


def write_page(
    session: Session,
    out: str | Path,
    *,
    results: str | Path | None = None,
    paper: str | None = None,
    against: Differences | None = None,
) -> tuple[str, ...]:
    """Write the report of ``session`` to ``out`` and return the titles of the checks that failed.

    ``out`` ends in .html (.htm), or in .pdf where WeasyPrint is installed. ``results`` is a file for every number and
    check as JSON; where it is there already it is left, and the report says what differs from it (``against``, where
    the caller has it already). ``paper`` is one of ``PAPERS``: None leaves the size to the printer, in a PDF to A4.

    Raises ``SessionError`` as ``report_html`` does, for another ending or paper, and when ``out`` or ``results`` is a
    file of the session or its folder is missing; ``AotfLabError`` for a PDF without WeasyPrint. None writes anything.
    """
    target = require_output(session.facts, out)
    ending = _ending(target, paper)
    if ending == ".pdf":
        require_pdf()
    numbers = None if results is None else require_output(session.facts, results)
    if numbers is not None and against is None:
        against = against_archive(session, numbers)
    written = numbers.name if numbers is not None and against is None else ""
    page, failed = _page(session, paper, against, written)
    write_bytes_atomically(target, pdf_of(page) if ending == ".pdf" else page.encode("utf-8"))
    if numbers is not None and written:
        all_results(session).to_json(numbers)
    return failed


def _ending(target: Path, paper: str | None) -> str:
    if target.suffix not in ENDINGS:
        raise SessionError(
            "a report of an unknown kind", found=str(target), allowed=f"a name that ends in {', '.join(ENDINGS)}",
            cure="name it report.html, say",
        )  # fmt: skip
    if paper is not None and paper not in PAPERS:
        raise SessionError(
            "a paper that the report does not know", found=paper, allowed=" or ".join(PAPERS),
            cure="leave it out: the bench sheet fits both",
        )  # fmt: skip
    return target.suffix
