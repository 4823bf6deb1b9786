"""Write a commented session.toml with an example of each kind of raw file."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.session_file import FILE_NAME
from aotf_lab.reading.template_examples import EXAMPLES

__all__ = ["write_template"]


_FILES = {FILE_NAME: files("aotf_lab.reading").joinpath("template_session.toml").read_text("utf-8"), **EXAMPLES}


def write_template(folder: str | os.PathLike[str]) -> tuple[Path, ...]:
    """Write session.toml and one example of each kind of raw file into ``folder``; return their paths.

    The folder is made when it is not there. Nothing that exists is overwritten, and when a file
    cannot be written those already written are taken back.

    Raises ``SessionError`` when one of the files exists or the folder cannot be written.
    """
    home = Path(folder)
    there = [name for name in _FILES if (home / name).exists()]
    if there:
        raise SessionError(
            "a file of that name is already there", where=home.name, found=Said(", ".join(map(repr, there))),
            allowed="a new folder, or one without these files", cure="name another folder; nothing was written",
        )  # fmt: skip
    written: list[Path] = []
    try:
        home.mkdir(parents=True, exist_ok=True)
        for name, text in _FILES.items():
            write_text_atomically(home / name, text)
            written.append(home / name)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        raise SessionError(
            "a folder that cannot be written", where=home.name, found=Said(error.strerror or type(error).__name__),
            allowed="a folder in which files may be made", cure="name another folder; nothing was left behind",
        ) from None  # fmt: skip
    return tuple(written)
