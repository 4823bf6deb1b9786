"""Where a unit stands when the heading does not hold it: in a row of units, in the cells, above the headings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.cells.number import NotANumber, number_in
from aotf_lab.reading.clock.stamps import is_clock
from aotf_lab.reading.receipt import Setting
from aotf_lab.reading.shape.settings import Settings
from aotf_lab.reading.shape.split_heading import is_count_unit, known_unit
from aotf_lab.reading.text.grid import Grid, RawRow, TextForm
from aotf_lab.reading.units import kinds_of, parse_unit
from aotf_lab.reading.words import UNDECIDED, plain_words, word_meaning

__all__ = ["IN_CELLS", "NO_HINTS", "Found", "Hints", "hints_of", "refuse_contradiction", "unit_column_of"]

IN_CELLS = "in the cells"
_SAMPLE = 40
"""Cells of each column that are looked at."""
_AXES = ("horizontal", "vertical", "x", "y")
"""How a scope names what its samples run over and what they are: of a column without a word it is the second."""
_KIND_WORDS = {"power": "power", "voltage": "voltage", "level": "rms voltage", "frequency": "frequency"}


@dataclass(frozen=True)
class Found:
    """The text of a unit, and where it was found; "" and "" for none."""

    text: str = ""
    evidence: str = ""

    @property
    def in_cells(self) -> bool:
        """Whether the unit stands in the cells."""
        return self.evidence == IN_CELLS

    def __bool__(self) -> bool:
        return bool(self.text)


@dataclass(frozen=True)
class Hints:
    """What stands around the headings: the row of units, some cells of each column, and the settings."""

    units: RawRow | None = None
    cells: tuple[tuple[str, ...], ...] = ()
    form: TextForm | None = None
    settings: Settings | None = None

    def unit(self, position: int, column: str, words: str, place: str) -> Found:
        """Return the unit of a column that means ``column`` ("" for not known yet)."""
        return self.row_unit(position, place) or self.cell_unit(position) or self._setting_unit(column, words)

    def row_unit(self, position: int, place: str) -> Found:
        """Return what the row of units says; raises ``ReadingError`` for what is no unit."""
        text = self.units.cells[position] if self.units and position < len(self.units.cells) else ""
        text = re.sub(r"^[(\[](.*)[)\]]$", r"\1", text.strip())
        if not text or text == "-" or self.units is None:
            return Found()
        if not is_count_unit(text) and not known_unit(text):
            if self.is_clock(position):
                return Found()
            parse_unit(text, f"{place}, row of units in line {self.units.line}")
        return Found(text, f"in the row of units, line {self.units.line}")

    def cell_unit(self, position: int) -> Found:
        """Return the unit that stands in the cells."""
        if self.form is None or position >= len(self.cells):
            return Found()
        for cell in self.cells[position]:
            try:
                unit = number_in(cell, self.form).unit
            except NotANumber:
                continue
            if unit and known_unit(unit):
                return Found(unit, IN_CELLS)
        return Found()

    def is_clock(self, position: int) -> bool:
        """Return whether most cells of the column are stamps of a clock."""
        cells = [c for c in (self.cells[position] if position < len(self.cells) else ()) if c]
        return bool(cells) and 2 * sum(map(is_clock, cells)) > len(cells)

    def _setting_unit(self, column: str, words: str) -> Found:
        """Return the unit stated above the headings that fits the column."""
        if self.settings is None:
            return Found()
        fits = [(rank, s) for s in self.settings.all_of("unit") if (rank := _fits(s, column, words))]
        best = [s for rank, s in fits if rank == min(r for r, _ in fits)]
        texts = {s.value for s in best}
        if len(texts) != 1:
            return Found()
        setting = best[0]
        self.settings.used(setting, f"unit of {words!r}" if words else "unit of the readings")
        where = f"line {setting.line}" if setting.line else "in the layout"
        return Found(setting.value, f"stated above the headings, {where}" if setting.line else f"stated {where}")


def _fits(setting: Setting, column: str, words: str) -> int:
    """Return how well a stated unit fits: 1 by its own words, 2 by its kind, 0 not at all."""
    if not known_unit(setting.value):
        return 0
    kind = parse_unit(setting.value).kind
    own = re.sub(r"\bunits?$", "", plain_words(setting.key)).strip()
    if own in _AXES:
        return 2 if (kind == "time") == (column == "time_s") and (not column or kind in kinds_of(column)) else 0
    meaning = word_meaning(own)
    if own and meaning not in ("", UNDECIDED):
        return 1 if meaning == column else 0
    if own and own in plain_words(words):
        return 1
    if column:
        return 2 if kind in kinds_of(column) or (column == "rf_level_vrms" and kind == "power level") else 0
    wanted = next((k for w, k in _KIND_WORDS.items() if w in plain_words(words).split()), "")
    return 2 if not wanted or wanted == kind else 0


def unit_column_of(headers: Sequence[str], cells: Sequence[Sequence[str]]) -> dict[int, int]:
    """Return position -> position of the column of units behind it.

    >>> unit_column_of(["Diffracted", "Unit"], [["912.0"], ["uW"]])
    {0: 1}
    """
    return {
        k - 1: k
        for k, header in enumerate(headers)
        if k > 0 and k < len(cells) and plain_words(header) in ("unit", "units", "") and cells[k]
        and all(known_unit(c) for c in cells[k]) and not any(known_unit(c) for c in cells[k - 1])
    }  # fmt: skip


def hints_of(grid: Grid, settings: Settings) -> Hints:
    """Return what stands around the headings of ``grid``."""
    count = len(grid.header.cells) if grid.header else max((len(r.cells) for r in grid.rows), default=0)
    cells = [_filled(grid.rows, k) for k in range(count)]
    if grid.header is not None:
        for position, behind in unit_column_of(grid.header.cells, cells).items():
            cells[position] = tuple(f"{n} {u}" for n, u in zip(cells[position], cells[behind], strict=False))
    return Hints(grid.units, tuple(cells), grid.form, settings)


def _filled(rows: Sequence[RawRow], position: int) -> tuple[str, ...]:
    """Return the first cells of a column that are not empty."""
    found: list[str] = []
    for row in rows[: 10 * _SAMPLE]:
        cell = row.cells[position] if position < len(row.cells) else ""
        if cell:
            found.append(cell)
        if len(found) == _SAMPLE:
            break
    return tuple(found)


NO_HINTS = Hints()


def refuse_contradiction(stated: str, found: Found, column: str, place: str) -> None:
    """Raise ``ReadingError`` where a stated unit and the one found beside the heading are not the same."""
    if not found.text or not stated or is_count_unit(stated) or is_count_unit(found.text):
        return
    if parse_unit(stated, place) != parse_unit(found.text, place):
        raise ReadingError(
            f"two units for {column}: {stated} as stated, and {found.text} {found.evidence}", where=place,
            found=Said(f"{stated}, {found.text}"), allowed="one unit",
            cure="correct the unit of the column in the layout, or state units_line = 0 there to pass the row over",
        )  # fmt: skip
