"""The command line: ``aotf-lab check``, ``preflight``, ``report``, and those of ``commands``.

Exit codes: 0 done, 1 unusable input (one sentence says why) or a bench that must not be switched on, 2 wrong usage.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from aotf_lab.commands.begun import add_begun
from aotf_lab.commands.described import SESSION, add_command
from aotf_lab.commands.kept import add_kept
from aotf_lab.commands.many import add_compare
from aotf_lab.commands.printed import printed
from aotf_lab.errors import AotfLabError

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code."""
    options = _parser().parse_args(arguments)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices only: threads would cost more than they give
    gc.set_threshold(50_000)  # many small numbers, hardly a circle among them: a tenth of the time went into looking
    try:
        text, code = options.run(options)
    except AotfLabError as error:
        return _failed(str(error))
    except OSError as error:
        return _failed(f"{error.strerror or error}: {error.filename}")
    _say(text)
    return int(code)


def _say(text: str) -> None:
    """Print the text; whoever reads only the head of it has seen enough."""
    try:
        print(text, flush=True)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _failed(reason: str) -> int:
    _progress("")
    print(f"aotf-lab: {reason}", file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("aotf-lab", description="Characterise a tunable-filter bench from raw readings.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    add_begun(commands)
    _add_check(commands)
    _add_results(commands)
    add_kept(commands)
    add_compare(commands)
    return parser


def _add_check(commands: Any) -> None:
    """Add what is asked before anything is computed: check."""
    check = add_command(
        commands, "check", "say how each file was read, and what contradicts session.toml",
        "Print a receipt of each file, what looks wrong in it and what contradicts session.toml; the last line says "
        "whether the session is usable. Writes nothing but the page that --html asks for.",
        "check mybench --html check.html",
    )  # fmt: skip
    check.add_argument("session", type=Path, metavar="SESSION", help=SESSION)
    check.add_argument("--html", type=Path, metavar="FILE.html", help="write the same as one HTML page")
    check.set_defaults(run=_check, parser=check)


def _add_results(commands: Any) -> None:
    """Add what is made of a session: preflight, report."""
    before = add_command(
        commands, "preflight", "write the checklist before RF goes on, with the bench's numbers",
        "Print the checklist before RF goes on: limits, what each part takes, the order of switching. Its first line "
        "says DO NOT SWITCH ON or NO OBJECTION. Writes nothing but the page that --out asks for. Local codes and "
        "licensed practice come first.",
        "preflight mybench --out preflight.html",
    )  # fmt: skip
    before.add_argument("session", type=Path, metavar="SESSION", help=SESSION)
    before.add_argument("--out", type=Path, metavar="FILE.html", help="write the same as one page to print")
    before.set_defaults(run=_preflight, parser=before)
    report = add_command(
        commands, "report", "write the report of a session as one HTML file, or as PDF",
        "Compute all that the session allows and write one page: bench sheet, set-points, checks that failed, figures, "
        "numbers, method. Prints how many lines can be set and how many checks failed.",
        "report mybench --out report.html --set-points set_points.csv",
    )  # fmt: skip
    report.add_argument("session", type=Path, metavar="SESSION", help=SESSION)
    report.add_argument("--out", type=Path, required=True, metavar="FILE", help="where to write it: .html or .pdf")
    report.add_argument("--paper", metavar="PAPER", help="A4 or letter; left out, HTML leaves it to the printer")
    report.add_argument(
        "--results", type=Path, metavar="FILE.json",
        help="write every number and check too; where the file is there, say instead what differs from it",
    )  # fmt: skip
    report.add_argument("--set-points", type=Path, metavar="FILE", help="write the set-points too, as .csv or .json")
    report.set_defaults(run=_report, parser=report)


def _check(options: argparse.Namespace) -> tuple[str, int]:
    _require_html(options, "--html", options.html)
    from aotf_lab.reading.atomic import write_text_atomically
    from aotf_lab.session import check_session, open_session, require_output

    session = open_session(options.session)
    if options.html is not None:
        require_output(session.facts, options.html)
    _progress("check")
    found = check_session(session)
    if options.html is not None:
        write_text_atomically(options.html, found.page())
    _progress("")
    return printed(found), 0 if found.usable else 1


def _preflight(options: argparse.Namespace) -> tuple[str, int]:
    _require_html(options, "--out", options.out)
    from aotf_lab.report.preflight import preflight, write_preflight
    from aotf_lab.session import open_session, require_output

    session = open_session(options.session)
    if options.out is not None:
        require_output(session.facts, options.out)
    _progress("preflight")
    found = preflight(session) if options.out is None else write_preflight(session, options.out)
    _progress("")
    return printed(found), 0 if found.may_switch_on else 1


def _require_html(options: argparse.Namespace, option: str, path: Path | None) -> None:
    if path is not None and path.suffix not in (".html", ".htm"):
        options.parser.error(f"{option} {path}: allowed endings are .html and .htm")


def _report(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.report.content_verdict import settable
    from aotf_lab.report.write import ENDINGS, PAPERS, against_archive, write_page

    out, table, archive = options.out, options.set_points, options.results
    if out.suffix not in ENDINGS:
        options.parser.error(f"--out {out}: allowed endings are {', '.join(ENDINGS[:-1])} and {ENDINGS[-1]}")
    if options.paper not in (None, *PAPERS):
        options.parser.error(f"--paper {options.paper}: allowed are {' and '.join(PAPERS)}")
    if archive is not None and archive.suffix != ".json":
        options.parser.error(f"--results {archive}: the allowed ending is .json")
    if table is not None and table.suffix not in (".csv", ".json"):
        options.parser.error(f"--set-points {table}: allowed endings are .csv and .json")
    from aotf_lab.report.pdf import require_pdf
    from aotf_lab.session import open_session, require_output
    from aotf_lab.session.rerun.failed import failed_in_words

    if out.suffix == ".pdf":
        require_pdf()
    session = open_session(options.session)
    for target in filter(None, (out, table, archive)):
        require_output(session.facts, target)
    for part in session.parts:
        _progress(part)
        session.attempt(part)
    _progress("report")
    against = None if archive is None else against_archive(session, archive)
    failed = write_page(session, out, results=archive, paper=options.paper, against=against)
    points = session.set_points()
    if table is not None:
        points.to_csv(table) if table.suffix == ".csv" else points.to_json(table)
    _progress("")
    missing = f"; not computed: {', '.join(session.troubles)}" if session.troubles else ""
    read = f"; {failed_in_words(failed)}: read them first" if failed else ""
    said = f"{out} written: {settable(session, points)}{missing}{read}"
    return said if against is None else printed(said, against), 0


def _progress(part: str) -> None:
    """Show what is being worked on, on one line of a terminal; silent when output goes to a file."""
    if sys.stderr.isatty():
        print(f"\r\033[K{part + ' ...' if part else ''}", end="", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
