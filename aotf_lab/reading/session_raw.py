"""What a [[file]] of session.toml says, and what lies beside it."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from aotf_lab.errors import Said, SessionError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.session_beside import FILE_NAME, SecondLog, inside, raw_names, second_log, stated_layout
from aotf_lab.reading.session_line import LineFacts
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section

__all__ = ["FILE_NAME", "PURPOSES", "RawFile", "kept_sources", "layout_sources", "raw_file", "remarks_on"]

PURPOSES = (
    "oscillator", "scan", "efficiency", "lines", "level", "trace", "match", "warm_up", "pushing", "pulling",
    "hunt", "spectrum", "leakage", "spots", "polarisation", "beam_size", "edge",
    "modulation_depth", "keep",
)  # fmt: skip
"""What a raw file can be for; "keep" belongs to the session but is not read."""

_OF_ONE_LINE = ("scan", "efficiency", "leakage")
_OF_PURPOSE: dict[str, tuple[tuple[str, ...], dict[str, Any]]] = {
    "counter_mhz": (("trace",), {"above": 0}),
    "directivity_db": (("match",), {"at_least": 0}),
    "cable_loss_db": (("match",), {"at_least": 0}),
    "distance_mm": (("spots",), {"above": 0}),
    "rf_power_w": (("spectrum", "leakage"), {"above": 0}),
}
"""Key of a [[file]] -> the purposes that it belongs to, and its bound."""


@dataclass(frozen=True)
class RawFile:
    """One raw file: where it is, what it is for, and the line, direction and columns stated for it.

    ``material`` is the session's crystal: a table of lines is checked against its optical range. ``layout``
    states how the file is written, ``layout_source`` is the record of the file that it stands in. ``second`` is a
    log of the same run on another clock. ``block_s`` is the length of the blocks to whose means a long log is reduced.
    ``counter_mhz`` is what the counter showed beside a trace; ``directivity_db`` and ``cable_loss_db`` belong to
    a match: the coupler's, and what the cable to the crystal takes on one way. ``distance_mm`` is that from the
    crystal to the screen on which spots were measured, ``rf_power_w`` the RF power (W, as the scope shows it) at
    which a lamp was scanned or a leak measured.
    """

    path: Path
    purpose: str
    line: str | None
    direction: Literal["up", "down"] | None
    columns: Mapping[str, str | tuple[str, ...]]
    material: str = "TeO2"
    layout: Layout | None = None
    layout_source: SourceFile | None = None
    second: SecondLog | None = None
    block_s: float | None = None
    counter_mhz: float | None = None
    directivity_db: float | None = None
    cable_loss_db: float | None = None
    distance_mm: float | None = None
    rf_power_w: float | None = None


def raw_file(section: Section, home: Path, lines: Sequence[str], material: str) -> RawFile:
    """Return the raw file that the section describes, below the folder ``home``.

    Raises ``SessionError`` for keys and values that are not understood, a file that is missing or
    outside the folder, a line that is not one of ``lines``, and a scan or an efficiency without one.
    """
    path = inside(section, "path", home, raw_names(home))
    purpose = section.choice("purpose", PURPOSES)
    line = section.text("line", None)
    names = ", ".join(lines) or "the name of a [[line]]"
    if line is not None and line not in lines:
        raise section.refuse("line", "no such line", names, "add the [[line]], or correct the name")
    direction = section.choice("direction", ("up", "down"), None)
    columns = section.column_map("columns")
    layout, source = stated_layout(section, "layout", home)
    second = second_log(section, home)
    block = section.number("block_s", None, above=0)
    stated = {
        key: _only_for(section, key, of, purpose, section.number(key, None, **bound))
        for key, (of, bound) in _OF_PURPOSE.items()
    }
    section.close()
    relative = path.relative_to(home).as_posix()
    if line is None and purpose in _OF_ONE_LINE:
        cure = f'add line = "{lines[0] if len(lines) == 1 else "..."}" to the [[file]] of {relative}'
        raise section.refuse("line", f"missing, and {relative} is for {purpose}, which is of one line", names,
                             cure if lines else f"{cure}, and a [[line]] of that name")  # fmt: skip
    return RawFile(
        path, purpose, line, direction, columns, material, layout, source, second, block, **stated
    )  # fmt: skip


def _only_for(section: Section, key: str, of: tuple[str, ...], purpose: str, value: float | None) -> float | None:
    if value is not None and purpose not in (*of, "keep"):
        allowed = " or ".join(f'purpose = "{p}"' for p in of)
        raise section.refuse(key, f"stated for a file with purpose {purpose}", allowed,
                             "delete the line, or correct the purpose")  # fmt: skip
    return value


def kept_sources(files: Iterable[RawFile]) -> tuple[SourceFile, ...]:
    """Return the records of the files that are kept but not read.

    Raises ``SessionError`` when one cannot be opened.
    """
    return tuple(_source(file.path) for file in files if file.purpose == "keep")


def layout_sources(files: Iterable[RawFile]) -> tuple[SourceFile, ...]:
    """Return the records of the layouts that the files name, each once."""
    seconds = (f.second.layout_source for f in files if f.second is not None)
    return tuple(dict.fromkeys(s for s in (*(f.layout_source for f in files), *seconds) if s is not None))


def _source(path: Path) -> SourceFile:
    try:
        return source_file(path, path.read_bytes())
    except OSError as error:
        raise SessionError(
            "a file to keep that cannot be opened", where=f"{FILE_NAME}, {path.name}",
            found=Said(error.strerror or type(error).__name__), allowed="a readable file",
            cure="check who may read it, or delete its [[file]]",
        ) from None  # fmt: skip


def remarks_on(home: Path, files: Sequence[RawFile], lines: Sequence[LineFacts]) -> tuple[str, ...]:
    """Return what was noticed about the files: which are not used, and where one takes another's place."""
    listed = {os.path.normpath(p) for f in files for p in (f.path, f.second and f.second.path) if p}
    unused = [name for name in raw_names(home) if os.path.normpath(home / name) not in listed]
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
