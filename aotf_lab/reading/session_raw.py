"""What a [[file]] of session.toml says, and what lies beside it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from aotf_lab.errors import ReadingError, Said, SessionError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.layout_file import layout_from_bytes
from aotf_lab.reading.session_line import LineFacts
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section

__all__ = ["FILE_NAME", "PURPOSES", "RawFile", "kept_sources", "layout_sources", "raw_file", "remarks_on"]

FILE_NAME = "session.toml"
PURPOSES = ("oscillator", "scan", "efficiency", "lines", "level", "keep")
"""What a raw file can be for; "keep" belongs to the session but is not read."""

_OF_ONE_LINE = ("scan", "efficiency")
_RAW_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc", ".s1p")


@dataclass(frozen=True)
class RawFile:
    """One raw file: where it is, what it is for, and the line, direction and columns stated for it.

    ``material`` is the session's crystal: a table of lines is checked against its optical range. ``layout``
    states how the file is written, ``layout_source`` is the record of the file that it stands in.
    ``second_log`` is a log of the same run on another clock: readings of the two belong together where their
    times differ by no more than ``tolerance_s``, once ``offset_s`` is added to those of the second (None: found
    from the readings). ``block_s`` is the length of the blocks to whose means a long log is reduced.
    """

    path: Path
    purpose: str
    line: str | None
    direction: Literal["up", "down"] | None
    columns: Mapping[str, str | tuple[str, ...]]
    material: str = "TeO2"
    layout: Layout | None = None
    layout_source: SourceFile | None = None
    second_log: Path | None = None
    tolerance_s: float | None = None
    offset_s: float | None = None
    block_s: float | None = None


def raw_file(section: Section, home: Path, lines: Sequence[str], material: str) -> RawFile:
    """Return the raw file that the section describes, below the folder ``home``.

    Raises ``SessionError`` for keys and values that are not understood, a file that is missing or
    outside the folder, a line that is not one of ``lines``, and a scan or an efficiency without one.
    """
    path = _inside(section, "path", home)
    purpose = section.choice("purpose", PURPOSES)
    line = section.text("line", None)
    names = ", ".join(lines) or "the name of a [[line]]"
    if line is not None and line not in lines:
        raise section.refuse("line", "no such line", names, "add the [[line]], or correct the name")
    direction = section.choice("direction", ("up", "down"), None)
    columns = section.column_map("columns")
    layout, source = _layout(section, home)
    second = _inside(section, "second_log", home) if section.has("second_log") else section.text("second_log", None)
    tolerance = section.number("tolerance_s", None, above=0)
    offset, block = section.number("offset_s", None), section.number("block_s", None, above=0)
    section.close()
    _refuse_half(section, second, tolerance, offset)
    relative = path.relative_to(home).as_posix()
    if line is None and purpose in _OF_ONE_LINE:
        cure = f'add line = "{lines[0] if len(lines) == 1 else "..."}" to the [[file]] of {relative}'
        raise section.refuse("line", f"missing, and {relative} is for {purpose}, which is of one line", names,
                             cure if lines else f"{cure}, and a [[line]] of that name")  # fmt: skip
    return RawFile(
        path, purpose, line, direction, columns, material, layout, source, second, tolerance, offset, block
    )  # fmt: skip


def _inside(section: Section, key: str, home: Path) -> Path:
    """Return the path that the key states, of a file that is there, below the folder ``home``."""
    relative: str = section.text(key)
    if Path(relative).is_absolute() or ".." in Path(relative).parts:
        raise section.refuse(key, "outside the session's folder", f"a path below the folder of {FILE_NAME}",
                             "copy the file into the folder")  # fmt: skip
    if not (home / relative).is_file():
        raise section.refuse(key, "no such file", ", ".join(_raw_names(home)) or f"a file beside {FILE_NAME}",
                             "correct the name, or put the file there")  # fmt: skip
    return home / relative


def _layout(section: Section, home: Path) -> tuple[Layout | None, SourceFile | None]:
    """Return the layout that the section names, and the record of its file; what it refuses, the session refuses."""
    if not section.has("layout"):
        section.text("layout", None)
        return None, None
    path = _inside(section, "layout", home)
    try:
        content = path.read_bytes()
        return layout_from_bytes(path.name, content), source_file(path, content)
    except ReadingError as error:
        raise SessionError(
            error.what, where=f"{section.title}, layout: {error.where}", found=error.found, allowed=error.allowed,
            cure=error.cure,
        ) from error  # fmt: skip
    except OSError as error:
        raise section.refuse("layout", f"cannot be opened ({error.strerror})", "a readable file",
                             "check who may read it, or leave layout out") from error  # fmt: skip


def _refuse_half(section: Section, second: Path | None, tolerance: float | None, offset: float | None) -> None:
    if second is not None and tolerance is None:
        raise section.refuse("tolerance_s", "missing, and second_log is joined by time", "seconds above 0",
                             "add tolerance_s: how far apart in time two readings of one moment may be")  # fmt: skip
    for key, value in (("tolerance_s", tolerance), ("offset_s", offset)):
        if second is None and value is not None:
            raise section.refuse(key, "stated without second_log", "with second_log only",
                                 "add second_log, or delete the line")  # fmt: skip


def kept_sources(files: Iterable[RawFile]) -> tuple[SourceFile, ...]:
    """Return the records of the files that are kept but not read.

    Raises ``SessionError`` when one cannot be opened.
    """
    return tuple(_source(file.path) for file in files if file.purpose == "keep")


def layout_sources(files: Iterable[RawFile]) -> tuple[SourceFile, ...]:
    """Return the records of the layouts that the files name, each once."""
    return tuple(dict.fromkeys(f.layout_source for f in files if f.layout_source is not None))


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
    listed = {os.path.normpath(p) for f in files for p in (f.path, f.second_log) if p is not None}
    unused = [name for name in _raw_names(home) if os.path.normpath(home / name) not in listed]
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


def _raw_names(home: Path) -> list[str]:
    """Return the files below the folder that end as raw files do, hidden ones left out."""
    names = (p.relative_to(home) for p in home.rglob("*") if p.suffix.lower() in _RAW_ENDINGS)
    return sorted(n.as_posix() for n in names if not any(part.startswith(".") for part in n.parts))
