"""What lies beside a raw file of a session: its layout, and a second log of the same run."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from aotf_lab.errors import ReadingError, SessionError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.layout_file import layout_from_bytes
from aotf_lab.reading.source import SourceFile, source_file
from aotf_lab.reading.toml_section import Section

__all__ = ["FILE_NAME", "SecondLog", "inside", "raw_names", "second_log", "stated_layout"]

FILE_NAME = "session.toml"
_RAW_ENDINGS = (".csv", ".tsv", ".txt", ".dat", ".asc", ".s1p")


@dataclass(frozen=True)
class SecondLog:
    """A log of the same run on another clock.

    Readings of the two belong together where their times differ by no more than ``tolerance_s``, once
    ``offset_s`` is added to those of the second; None: it is found from the readings, not beyond ``max_offset_s``.
    """

    path: Path
    tolerance_s: float
    offset_s: float | None = None
    max_offset_s: float | None = None
    layout: Layout | None = None
    layout_source: SourceFile | None = None


def second_log(section: Section, home: Path) -> SecondLog | None:
    """Return the second log that a [[file]] names, None when it names none.

    Raises ``SessionError`` for one without ``tolerance_s``, and for keys that belong to one where there is none.
    """
    there = section.has("second_log")
    path = inside(section, "second_log", home, raw_names(home)) if there else section.text("second_log", None)
    tolerance = section.number("tolerance_s", None, above=0)
    offset, most = section.number("offset_s", None), section.number("max_offset_s", None, above=0)
    layout, source = stated_layout(section, "second_layout", home)
    if path is not None and tolerance is None:
        raise section.refuse("tolerance_s", "missing, and second_log is joined by time", "seconds above 0",
                             "add tolerance_s: how far apart in time two readings of one moment may be")  # fmt: skip
    if path is not None and tolerance is not None:
        return SecondLog(path, tolerance, offset, most, layout, source)
    for key in ("tolerance_s", "offset_s", "max_offset_s", "second_layout"):
        if section.has(key):
            raise section.refuse(key, "stated without second_log", "with second_log only",
                                 "add second_log, or delete the line")  # fmt: skip
    return None


def inside(section: Section, key: str, home: Path, there: Sequence[str]) -> Path:
    """Return the path that the key states, of a file that is there, below the folder ``home``.

    Raises ``SessionError``, which lists the files that are ``there``.
    """
    relative: str = section.text(key)
    if Path(relative).is_absolute() or ".." in Path(relative).parts:
        raise section.refuse(key, "outside the session's folder", f"a path below the folder of {FILE_NAME}",
                             "copy the file into the folder")  # fmt: skip
    if not (home / relative).is_file():
        raise section.refuse(key, "no such file", ", ".join(there) or f"a file beside {FILE_NAME}",
                             "correct the name, or put the file there")  # fmt: skip
    return home / relative


def stated_layout(section: Section, key: str, home: Path) -> tuple[Layout | None, SourceFile | None]:
    """Return the layout that the key names, and the record of its file; what it refuses, the session refuses."""
    if not section.has(key):
        section.text(key, None)
        return None, None
    path = inside(section, key, home, _layout_names(home))
    try:
        content = path.read_bytes()
        return layout_from_bytes(path.name, content), source_file(path, content)
    except ReadingError as error:
        raise SessionError(
            error.what, where=f"{section.title}, {key}: {error.where}", found=error.found, allowed=error.allowed,
            cure=error.cure,
        ) from None  # fmt: skip
    except OSError as error:
        raise section.refuse(key, f"cannot be opened ({error.strerror})", "a readable file",
                             f"check who may read it, or leave {key} out") from None  # fmt: skip


def raw_names(home: Path) -> list[str]:
    """Return the files below the folder that end as raw files do, hidden ones left out."""
    return [n for n in _names(home) if n.lower().endswith(_RAW_ENDINGS)]


def _layout_names(home: Path) -> list[str]:
    return [n for n in _names(home) if n.endswith(".layout.toml")]


def _names(home: Path) -> list[str]:
    names = (p.relative_to(home) for p in home.rglob("*") if p.is_file())
    return sorted(n.as_posix() for n in names if not any(part.startswith(".") for part in n.parts))
