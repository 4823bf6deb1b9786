"""One heading as it is understood, and the marks that tell it from its neighbours of the same meaning."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from aotf_lab.reading.units import Unit

__all__ = ["NOT_USED", "UNMARKED", "ColumnMap", "Heading", "Marks"]

ColumnMap = Mapping[str, str | Sequence[str]]
"""Column name -> the heading that holds it, or several that hold repeats of it; under the key "not_used" one
heading, or several, to pass over. "column 3" names the third column whatever its heading is."""

NOT_USED = "not_used"


@dataclass(frozen=True)
class Marks:
    """What a heading says besides its meaning.

    ``repeat`` is the number of a repeat, ``direction`` "up" or "down", ``label`` a line, ``part`` "min",
    "max" or "mean" of a reading, ``block`` the number of a block of columns side by side; 0 or "" for none.
    """

    repeat: int = 0
    direction: str = ""
    label: str = ""
    part: str = ""
    block: int = 0

    @property
    def group(self) -> tuple[int, int, str, str]:
        """What puts a heading into one group of rows rather than another."""
        return self.block, self.repeat, self.direction, self.label


UNMARKED = Marks()


@dataclass(frozen=True)
class Heading:
    """One heading understood: its position (0-based), text, column, unit, and the evidence.

    ``column`` is "" for a heading that is not used; ``unit`` is None for a column of text. Of a heading
    without a meaning, ``words`` are those that are no unit and no mark, and ``own_unit`` is the unit that
    was found for it (None: none), by ``unit_evidence``; ``settled`` means that it must not be claimed.
    ``counts`` is true where the cells are counts that a scale turns into ``unit``, ``clock`` where they are
    stamps of a clock, ``reads`` is the column as whose numbers the cells are read where that is another one.
    ``in_cells`` means that the unit stands in the cells, so that a cell without one is in doubt.
    ``before`` and ``behind`` are the positions of columns whose cells belong in front of or behind the cells of
    this one: a date, a unit (-1 for none).
    """

    position: int
    header: str
    column: str
    unit: Unit | None
    evidence: str
    words: str = ""
    marks: Marks = UNMARKED
    own_unit: Unit | None = None
    unit_evidence: str = ""
    settled: bool = False
    counts: bool = False
    clock: bool = False
    reads: str = ""
    in_cells: bool = False
    before: int = -1
    behind: int = -1
