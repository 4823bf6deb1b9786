"""The words of the bench sheet, as they are laid out."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BenchSheet", "Box", "Failure", "SheetLine", "SheetPlay"]


@dataclass(frozen=True)
class Box:
    """One number that counts for every line: what it is, the number, and what it means."""

    title: str
    value: str
    words: str


@dataclass(frozen=True)
class SheetLine:
    """What to set for one line, as text.

    ``typed`` is the generator's offset on a high-impedance and on a 50-ohm display, one text where there is nothing to
    type, and empty where no generator is stated.
    """

    name: str
    drive: str
    rf_power: str
    supply: str
    typed: tuple[str, ...]
    wavelength: str
    doubtful: bool


@dataclass(frozen=True)
class SheetPlay:
    """What the generator is to play, as text: its name, what to type, and what comes of it.

    ``typed`` is offset and amplitude on a high-impedance, then on a 50-ohm display, empty for a wave of its own, whose
    steps ``steps`` holds.
    """

    name: str
    typed: tuple[str, ...]
    steps: str
    words: str


@dataclass(frozen=True)
class Failure:
    """One thing that failed: its name, what was found, the light that it costs, and what to do ("" where not known)."""

    title: str
    words: str
    cost: str
    cure: str


@dataclass(frozen=True)
class BenchSheet:
    """The sheet; ``size_pt`` is the largest size of its text at which it stands on one page, A4 or US Letter.

    The table of lines is set ``table_em`` times as large. ``day`` is that of the readings, "" where it is not stated.
    ``more`` counts the failures, ``more_plays`` the plays for which there is no room: they stand in the details only.
    ``sha256`` is the head of that of all files together.
    """

    note: str
    day: str
    boxes: tuple[Box, ...]
    lines: tuple[SheetLine, ...]
    notes: tuple[str, ...]
    plays: tuple[SheetPlay, ...]
    failures: tuple[Failure, ...]
    more: int
    more_plays: int
    sha256: str
    size_pt: float
    table_em: float

    @property
    def typed(self) -> bool:
        """Whether a generator is stated, so that something can be typed into it."""
        return any(line.typed for line in self.lines)
