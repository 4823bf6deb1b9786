"""What a [[file]] of session.toml says, and what lies beside it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.session_line import LineFacts
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section

__all__ = ["FILE_NAME", "PURPOSES", "RawFile", "kept_sources", "raw_file", "remarks_on"]

FILE_NAME = "session.toml"
PURPOSES = ("oscillator", "scan", "efficiency", "lines", "level", "keep")
"""What a raw file can be for; "keep" belongs to the session but is not read."""

_OF_ONE_LINE = ("scan", "efficiency")


@dataclass(frozen=True)
class RawFile:
    """One raw file: where it is, what it is for, and the line, direction and columns stated for it.

    ``material`` is the session's crystal: a table of lines is checked against its optical range.
    """

    path: Path
    purpose: str
    line: str | None
    direction: Literal["up", "down"] | None
    columns: Mapping[str, str | tuple[str, ...]]
    material: str = "TeO2"


def raw_file(section: Section, home: Path, lines: Sequence[str], material: str) -> RawFile:
    """Return the raw file that the section describes, below the folder ``home``.

    Raises ``SessionError`` for keys and values that are not understood, a file that is missing or
    outside the folder, a line that is not one of ``lines``, and a scan or an efficiency without one.
    """
    relative = section.text("path")
    path = home / relative
    if Path(relative).is_absolute() or ".." in Path(relative).parts:
        raise section.refuse("path", "outside the session's folder", f"a path below the folder of {FILE_NAME}",
                             "copy the file into the folder")  # fmt: skip
    if not path.is_file():
        raise section.refuse("path", "no such file", ", ".join(_csv_names(home)) or f"a file beside {FILE_NAME}",
                             "correct the name, or put the file there")  # fmt: skip
    purpose = section.choice("purpose", PURPOSES)
    line = section.text("line", None)
    names = ", ".join(lines) or "the name of a [[line]]"
    if line is not None and line not in lines:
        raise section.refuse("line", "no such line", names, "add the [[line]], or correct the name")
    direction = section.choice("direction", ("up", "down"), None)
    columns = section.column_map("columns")
    section.close()
    if line is None and purpose in _OF_ONE_LINE:
        cure = f'add line = "{lines[0] if len(lines) == 1 else "..."}" to the [[file]] of {relative}'
        raise section.refuse("line", f"missing, and {relative} is for {purpose}, which is of one line", names,
                             cure if lines else f"{cure}, and a [[line]] of that name")  # fmt: skip
    return RawFile(path, purpose, line, direction, columns, material)


def kept_sources(files: Iterable[RawFile]) -> tuple[SourceFile, ...]:
    """Return the records of the files that are kept but not read.

    Raises ``SessionError`` when one cannot be opened.
    """
    return tuple(_source(file.path) for file in files if file.purpose == "keep")


def _source(path: Path) -> SourceFile:
    try:
        return source_file(path, path.read_bytes())
    except OSError as error:
        raise SessionError(
            "a file to keep that cannot be opened", where=f"{FILE_NAME}, {path.name}",
            found=Said(error.strerror or type(error).__name__), allowed="a readable file",
            cure="check who may read it, or delete its [[file]]",
        ) from error  # fmt: skip


def remarks_on(home: Path, files: Sequence[RawFile], lines: Sequence[LineFacts]) -> tuple[str, ...]:
    """Return what was noticed about the files: which are not used, and where one takes another's place."""
    listed = {os.path.normpath(f.path) for f in files}
    unused = [name for name in _csv_names(home) if os.path.normpath(home / name) not in listed]
    remarks = [f"{name} lies in the folder but no [[file]] names it: not used" for name in unused]
    tables = [f.path.name for f in files if f.purpose == "lines"]
    anchors = {line.name for line in lines if line.use == "anchor"}
    scanned = dict.fromkeys(f.line for f in files if f.purpose == "scan" and f.line in anchors)
    if tables and scanned:
        remarks.append(
            f"the crystal is calibrated by the table of lines ({', '.join(tables)}): "
            f"the peaks in the scans of {', '.join(str(name) for name in scanned)} are not used for it"
        )
    return tuple(remarks)


def _csv_names(home: Path) -> list[str]:
    """Return the CSV files below the folder, hidden ones left out."""
    names = (p.relative_to(home) for p in home.rglob("*") if p.suffix.lower() == ".csv")
    return sorted(n.as_posix() for n in names if not any(part.startswith(".") for part in n.parts))
