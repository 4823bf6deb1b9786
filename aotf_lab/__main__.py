"""The command line: ``aotf-lab new FOLDER`` and ``aotf-lab report SESSION --out FILE.html``.

Exit codes: 0 done, 1 unusable input (one sentence says why), 2 wrong usage.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from aotf_lab.errors import AotfLabError

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return the exit code."""
    options = _parser().parse_args(arguments)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices only: threads would cost more than they give
    try:
        print(options.run(options))
    except AotfLabError as error:
        return _failed(str(error))
    except OSError as error:
        return _failed(f"{error.strerror or error}: {error.filename}")
    return 0


def _failed(reason: str) -> int:
    _progress("")
    print(f"aotf-lab: {reason}", file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("aotf-lab", description="Characterise a tunable-filter bench from raw readings.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    new = commands.add_parser("new", help="write a commented session.toml and example files into a new folder")
    new.add_argument("folder", type=Path, metavar="FOLDER")
    new.set_defaults(run=_new)
    report = commands.add_parser("report", help="write the report of a session as one HTML file")
    report.add_argument("session", type=Path, metavar="SESSION", help="folder with session.toml and the raw files")
    report.add_argument("--out", type=Path, required=True, metavar="FILE.html", help="where to write the report")
    report.add_argument("--set-points", type=Path, metavar="FILE", help="write the set-points too, as .csv or .json")
    report.set_defaults(run=_report, parser=report)
    return parser


def _new(options: argparse.Namespace) -> str:
    from aotf_lab.reading import write_template

    write_template(options.folder)
    folder = options.folder
    return (
        f"{folder}: edit session.toml, put your raw files beside it, then run:\n"
        f"aotf-lab report {folder} --out report.html"
    )


def _report(options: argparse.Namespace) -> str:
    out, table = options.out, options.set_points
    if out.suffix not in (".html", ".htm"):
        options.parser.error(f"--out {out}: allowed endings are .html and .htm")
    if table is not None and table.suffix not in (".csv", ".json"):
        options.parser.error(f"--set-points {table}: allowed endings are .csv and .json")
    from aotf_lab.report import write_report
    from aotf_lab.session import PARTS, open_session, require_output

    session = open_session(options.session)
    for target in filter(None, (out, table)):
        require_output(session.facts, target)
    for part in PARTS:
        _progress(part)
        session.attempt(part)
    _progress("report")
    write_report(session, out)
    points = session.set_points()
    if table is not None:
        points.to_csv(table) if table.suffix == ".csv" else points.to_json(table)
    _progress("")
    missing = f"; not computed: {', '.join(session.troubles)}" if session.troubles else ""
    return f"{out} written: {sum(p.reachable for p in points)} of {len(points)} lines can be set{missing}"


def _progress(part: str) -> None:
    """Show what is being worked on, on one line of a terminal; silent when output goes to a file."""
    if sys.stderr.isatty():
        print(f"\r\033[K{part + ' ...' if part else ''}", end="", file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())
