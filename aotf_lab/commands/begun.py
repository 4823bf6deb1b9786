"""The commands with which a session is begun: ``aotf-lab new``, ``layout``."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from aotf_lab.commands.described import add_command
from aotf_lab.commands.printed import printed

__all__ = ["add_begun"]


def add_begun(commands: Any) -> None:
    """Add the commands to ``commands``, the parser's."""
    new = add_command(
        commands, "new", "write a commented session.toml and example files into a new folder",
        "Begin a session of your own: write a session.toml whose comments say what may be stated, and one short "
        "example file of each kind. No file that is there already is replaced.",
        "new mybench",
    )  # fmt: skip
    new.add_argument("folder", type=Path, metavar="FOLDER", help="where to write it; made when it is not there")
    new.set_defaults(run=_new)
    layout = add_command(
        commands, "layout", "write how one raw file was read, to be edited by hand",
        "Write what one raw file was taken to mean (cells, columns, units), or as much of it as the file decides, as a "
        "small file for you to correct; named in session.toml as layout, it decides how that file is read. "
        "The raw file is not changed.",
        "layout mybench/sweep.csv --purpose oscillator --out mybench/sweep.layout.toml",
    )  # fmt: skip
    layout.add_argument("raw_file", type=Path, metavar="RAWFILE", help="the file as the instrument left it")
    layout.add_argument("--out", type=Path, required=True, metavar="NAME.layout.toml", help="where to write it")
    layout.add_argument("--purpose", metavar="PURPOSE", help="what the file is for, as in session.toml")
    layout.set_defaults(run=_layout, parser=layout)


def _new(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.reading import write_template

    write_template(options.folder)
    folder = options.folder
    return (
        f"{folder}: edit session.toml, put your raw files in the place of the examples, then run:\n"
        f"aotf-lab check {folder}\n"
        f"aotf-lab report {folder} --out report.html\n"
        "The examples show the form of each file and are too short to compute from: the first lines of each say what\n"
        "a real one holds. For a whole invented session that computes: python -m aotf_lab.simulate FOLDER"
    ), 0


def _layout(options: argparse.Namespace) -> tuple[str, int]:
    from aotf_lab.errors import ReadingError
    from aotf_lab.reading.by_purpose import READERS, read_raw_file
    from aotf_lab.reading.instruments import UNSTATED
    from aotf_lab.reading.layout_draft import draft_layout
    from aotf_lab.reading.layout_file import ENDING, write_draft, write_layout
    from aotf_lab.reading.session_file import RawFile
    from aotf_lab.reading.table import read_bare_table

    out, purpose = options.out, options.purpose
    if purpose is not None and purpose not in READERS:
        options.parser.error(f"--purpose {purpose}: allowed are {', '.join(READERS)}")
    if not out.name.endswith(ENDING):
        options.parser.error(f"--out {out}: allowed is a name that ends in {ENDING}")
    if out.exists():
        raise ReadingError(
            "a file of that name is already there", where=out.name, found=str(out), allowed="a new name",
            cure="name another, or delete it first; nothing was written",
        )  # fmt: skip
    raw = RawFile(options.raw_file, purpose or "", None, None, {})
    try:
        read = read_bare_table(raw.path) if purpose is None else read_raw_file(raw, UNSTATED)
    except ReadingError as error:
        if not raw.path.is_file():
            raise
        write_draft(out, draft_layout(raw.path), error)
        return f"{error}\n\n{out} written, NOT FINISHED: decide in it what the error above asks, then read with it", 1
    receipt = read.receipts[-1]
    if receipt.layout is None:
        raise ReadingError(
            "a file whose form needs no layout", where=receipt.file, found=options.raw_file.suffix,
            allowed="a table in text", cure="read it without one",
        )  # fmt: skip
    write_layout(out, receipt.layout)
    return f'{printed(receipt)}\n\n{out} written: edit it, and name it in session.toml: layout = "{out.name}"', 0
