"""Where a session's results may be written: never over its own files."""

from __future__ import annotations

import os
from pathlib import Path

from aotf_lab.errors import SessionError
from aotf_lab.reading.session_file import FILE_NAME, SessionFile

__all__ = ["require_folder", "require_output"]


def require_output(facts: SessionFile, path: str | os.PathLike[str]) -> Path:
    """Return ``path`` if a result may be written there.

    Raises ``SessionError`` when it is one of the session's own files, or its folder does not exist.
    """
    target = Path(path)
    own = [facts.folder / FILE_NAME, *(p for f in facts.files for p in (f.path, f.second and f.second.path) if p)]
    if target.resolve() in {p.resolve() for p in own}:
        raise SessionError(
            "an output would overwrite a file of the session",
            found=str(target),
            allowed="a name that no raw file has",
            cure="write it somewhere else",
        )
    return require_folder(target)


def require_folder(path: str | os.PathLike[str]) -> Path:
    """Return ``path`` if a file may be written there. Raises ``SessionError`` when its folder does not exist."""
    target = Path(path)
    if target.is_dir() or not target.absolute().parent.is_dir():
        raise SessionError(
            "no such folder for an output",
            found=str(target),
            allowed="a file in a folder that exists",
            cure="make the folder, or name another",
        )
    return target
