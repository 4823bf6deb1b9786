"""How a long log is to be read: found once, in its first lines, by the way that reads every other file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from aotf_lab.errors import ReadingError
from aotf_lab.reading.headers import ColumnMap, Heading, understand_headings
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.raw_text import RawRow, raw_text
from aotf_lab.reading.text.grid import TextForm
from aotf_lab.reading.units import Unit

__all__ = ["BESIDE", "DARK_WORDS", "HEAD_BYTES", "LIGHT_WORDS", "NumberColumn", "Plan", "plan_of"]

HEAD_BYTES = 2**15
"""Bytes of the beginning by which a file is understood: some 500 to 2,000 rows."""

BESIDE = ("frequency_mhz", "drive_v", "supply_v", "temperature_c", "incident_power_mw")
"""Columns of which block means are taken beside the optical power."""

DARK_WORDS = frozenset({"dark", "closed", "shut", "blocked"})
LIGHT_WORDS = frozenset({"", "light", "open", "lit", "signal"})
_SHUTTER = ("shutter", "beam", "state", "mark", "marker")


@dataclass(frozen=True)
class NumberColumn:
    """A column of numbers that is read: its meaning, 0-based position, heading and unit."""

    column: str
    position: int
    header: str
    unit: Unit


@dataclass(frozen=True)
class Plan:
    """How every line of the file ``name`` is read.

    ``body_line`` is the 1-based line from which readings stand, ``cells`` how many a row has, ``marked``
    the position of the column whose cells say that a row is dark (None: there is none), ``words`` whether
    columns of text stand among the numbers, ``headings`` what each heading means.
    """

    name: str
    form: TextForm
    header: RawRow
    body_line: int
    cells: int
    numbers: tuple[NumberColumn, ...]
    headings: tuple[Heading, ...]
    marked: int | None = None
    free_label: bool = False
    words: bool = False
    skip_lines: Mapping[int, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def number(self, column: str) -> NumberColumn | None:
        """Return the column of numbers that means ``column``, None when there is none."""
        return next((c for c in self.numbers if c.column == column), None)

    def place(self, line: int, header: str = "") -> str:
        """Return file:line, with the column."""
        return f"{self.name}:{line}, column {header!r}" if header else f"{self.name}:{line}"

    def is_dark(self, word: str, line: int) -> bool:
        """Return whether the cell says that the row is a dark reading.

        Raises ``ReadingError`` for a word that says neither, unless the column holds free labels.
        """
        said = word.strip().lower()
        if said in DARK_WORDS:
            return True
        if not (self.free_label or said in LIGHT_WORDS):
            raise ReadingError(
                "a row that is marked neither dark nor light", where=self.place(line), found=word,
                allowed=", ".join(sorted((DARK_WORDS | LIGHT_WORDS) - {""})),
                cure=f"pass line {line} over in a layout: skip_lines = {{ {line} = \"reason\" }}",
            )  # fmt: skip
        return False


def plan_of(name: str, head: bytes, columns: ColumnMap | None, layout: Layout | None) -> Plan:
    """Return how the file is read, from its first bytes and what is stated.

    Raises ``ReadingError`` for a beginning that cannot be understood, and one without optical power.
    """
    stated = layout or Layout()
    raw = raw_text(name, head)
    separator = "semicolon" if raw.delimiter == ";" else "comma"
    form = TextForm("utf-8", "", separator, "", "," if raw.decimal_comma else ".", "")
    headings = understand_headings(raw.header.cells, f"{name}:{raw.header.line}", columns)
    wanted = ("time_s", "optical_power_mw", "dark_power_mw", *BESIDE)
    numbers = tuple(
        NumberColumn(h.column, h.position, h.header, h.unit) for h in headings if h.column in wanted and h.unit
    )
    if not any(c.column == "optical_power_mw" for c in numbers):
        raise ReadingError(
            "no column that means optical_power_mw", where=f"{name}:{raw.header.line}", found=raw.header.text,
            allowed="a heading such as 'Optical power (mW)'",
            cure='name it in the heading, or map it: columns = { optical_power_mw = "..." }',
        )  # fmt: skip
    marked, free = _marked(headings, raw.rows)
    read = {c.position for c in numbers}
    words = any(not _numeric(row.cells[p]) for row in raw.rows[:50] for p in range(len(headings)) if p not in read)
    notes = tuple(
        f"column {h.header!r} is not reduced" for h in headings if h.column and h.position not in {*read, marked}
    )
    return Plan(name, form, raw.header, raw.header.line + 1, len(raw.header.cells), numbers, headings, marked, free,
                words, stated.skip_lines, notes)  # fmt: skip


def _numeric(cell: str) -> bool:
    return not cell.strip("0123456789+-.,eE ")


def _marked(headings: tuple[Heading, ...], rows: tuple[RawRow, ...]) -> tuple[int | None, bool]:
    """Return the position of the column that marks dark rows, and whether it holds other labels too.

    A label column marks the rows that it calls dark. A column headed shutter, beam, state or mark
    counts when all its words in the first lines are known.
    """
    for heading in headings:
        said = {row.cells[heading.position].strip().lower() for row in rows}
        if heading.column == "label":
            return heading.position, True
        if not heading.column and heading.header.strip().lower() in _SHUTTER and said <= DARK_WORDS | LIGHT_WORDS:
            return heading.position, False
    return None, False
