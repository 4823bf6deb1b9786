"""Folders as they were named, each taken once."""

from __future__ import annotations

import os
from pathlib import Path

from aotf_lab.errors import AotfLabError
from aotf_lab.given import given_path
from aotf_lab.reading.session_file import FILE_NAME

__all__ = ["NamedFolders"]


class NamedFolders:
    """The folders named so far: one that is named again, by whatever path or link, would count twice."""

    def __init__(self) -> None:
        self._first: dict[object, str] = {}

    def new(self, folder: object) -> tuple[str, str]:
        """Return ``folder`` as it was named, and why it is not taken ("" where it is)."""
        try:
            path = given_path(folder, "folder", "the path of a session's folder", "name the folder of each session")
        except AotfLabError as error:
            return str(error.found), str(error)
        place, mark = os.fspath(folder if isinstance(folder, str) else path), _mark(path)
        if mark in self._first:
            return place, f"the same folder as {self._first[mark]}: taken once"
        self._first[mark] = place
        return place, ""


def _mark(path: Path) -> object:
    """Return what is the same for all names of one folder, or of the session.toml in it."""
    home = path.parent if path.name == FILE_NAME else path
    try:
        found = home.stat()
    except OSError:  # the work will say what is wrong with it
        return os.path.realpath(home)
    return found.st_dev, found.st_ino
