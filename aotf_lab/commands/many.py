"""``aotf-lab compare``: many sessions side by side."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from aotf_lab.commands.described import add_command
from aotf_lab.commands.printed import printed

__all__ = ["add_compare"]


def add_compare(commands: Any) -> None:
    """Add the command to ``commands``, the parser's."""
    compare = add_command(
        commands, "compare", "put the results of many sessions side by side, outliers first",
        "Compute every session and print which stands furthest apart from the others, by which number, and how many "
        "checks failed. Writes nothing but the table that --out asks for.",
        "compare bench1 bench2 bench3 --out table.csv",
    )  # fmt: skip
    compare.add_argument("folders", type=Path, nargs="+", metavar="FOLDER", help="session folders")
    compare.add_argument("--out", type=Path, metavar="FILE.csv", help="write every number, a row a session")
    compare.add_argument("--jobs", type=int, metavar="N", help="processes at work (all cores)")
    compare.set_defaults(run=_compare, parser=compare)


def _compare(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.session.many.compare import compare

    if options.out is not None and options.out.suffix != ".csv":
        options.parser.error(f"--out {options.out}: the allowed ending is .csv")
    if options.jobs is not None and options.jobs < 1:
        options.parser.error(f"--jobs {options.jobs}: allowed is 1 or more")
    if options.out is not None:
        _require_out(options.out, options.folders)
    found = compare(options.folders, jobs=options.jobs)
    written = [] if options.out is None else [f"{found.to_csv(options.out)} written"]
    return printed(found, *written), 1 if len(found.without) == len(options.folders) else 0


def _require_out(out: Path, folders: list[Path]) -> None:
    """Raise ``SessionError``, before the work begins, for a table without a folder or in place of a raw file."""
    from aotf_lab.errors import AotfLabError
    from aotf_lab.reading.session_file import load_session_file
    from aotf_lab.session.output import require_folder, require_output

    require_folder(out)
    for folder in folders if out.exists() else ():
        try:
            facts = load_session_file(folder)
        except AotfLabError:  # becomes the reason of its row
            continue
        require_output(facts, out)
