"""A contradiction: session.toml says one thing, the readings say another."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.session_file import RawFile, SessionFile

__all__ = ["Contradiction", "ReadFile"]


@dataclass(frozen=True)
class Contradiction:
    """``what`` contradicts what, ``place`` file and lines, ``found`` there, as ``stated``, and the ``cure``.

    ``unusable``: a number computed from the session would be wrong by more than any stated uncertainty.

    >>> print(Contradiction("rows of another line", "scan_D.csv:4", "label E", "line D", "correct line"))
    scan_D.csv:4: rows of another line; found label E; stated line D; correct line
    """

    what: str
    place: str
    found: str
    stated: str
    cure: str
    unusable: bool = False

    def __str__(self) -> str:
        return f"{self.place}: {self.what}; found {self.found}; stated {self.stated}; {self.cure}"


@dataclass(frozen=True)
class ReadFile:
    """A raw file of a session with its readings, and all that session.toml says.

    ``own_direction``: the rows keep the direction that the file gives them, as it contradicts the stated one.
    """

    file: RawFile
    readings: Readings
    facts: SessionFile
    own_direction: bool = False

    @property
    def name(self) -> str:
        """The path of the file in its session's folder."""
        return self.file.path.relative_to(self.facts.folder).as_posix()

    def has(self, *columns: str) -> bool:
        """Return whether every one of ``columns`` is in the table."""
        return set(columns) <= set(self.readings.table.columns)
