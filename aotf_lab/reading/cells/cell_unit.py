"""In which unit the number of one cell stands: its own, that of its SI letter, or that of the heading."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.cells.number import CellNumber
from aotf_lab.reading.units import UNITLESS, Unit, bench_unit, kinds_of, parse_unit

__all__ = ["CellUnits"]

_BASE = {"voltage": "V", "rms voltage": "Vrms", "peak-to-peak voltage": "Vpp", "current": "A", "frequency": "Hz",
         "power": "W", "length": "m", "time": "s"}  # fmt: skip
_READ_AS = {"rms voltage": "rms", "peak-to-peak voltage": "pp"}
_MANY_CHANGES = 4


class CellUnits:
    """The units of one column: decides for each cell, and remembers where the unit changes."""

    def __init__(self, heading: Unit | None, column: str, cells: Sequence[str], place: Callable[[int], str]) -> None:
        self._heading = heading
        self._column = column
        self._cells = cells
        self._place = place
        self._known: dict[tuple[str, str], tuple[Unit, float]] = {}
        self._changes: list[tuple[int, str]] = []
        self._by_cell = False
        self._said: list[str] = []

    def of(self, number: CellNumber, row: int) -> tuple[Unit, float]:
        """Return the unit of ``number``, which stands in ``row``, and its value in that unit."""
        key = (number.unit, number.letter)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = self._decide(number, row)
        unit, factor = known
        if number.unit or number.letter:
            self._by_cell = True
        if not self._changes or self._changes[-1][1] != unit.symbol:
            self._changes.append((row, unit.symbol))
        return unit, number.value * factor if factor != 1.0 else number.value

    def expected(self) -> str:
        """Return the symbol of the unit in which a bare number would stand, "" when there is none."""
        return self._heading.symbol if self._heading else ""

    def seen(self) -> tuple[str, ...]:
        """Return the symbols of the units in which the cells stand, when any cell has its own."""
        return tuple(dict.fromkeys(symbol for _, symbol in self._changes)) if self._by_cell else ()

    def notes(self) -> tuple[str, ...]:
        """Return in words where the unit comes from the cells, and where it changes."""
        if not self._by_cell:
            return ()
        said, head = list(self._said), self.expected()
        seen = self.seen()
        if head and seen != (head,):
            others = ", ".join(symbol for symbol in seen if symbol != head)
            said.append(f"heading says {head}, cells say {others}: each cell's own holds")
        changes = [
            f"{self._place(row)}: unit changes from {before} to {symbol}"
            for (_, before), (row, symbol) in zip(self._changes, self._changes[1:], strict=False)
        ]
        if len(changes) > _MANY_CHANGES:
            said.append(f"unit changes {len(changes)} times between {', '.join(seen)}, first at {changes[0]}")
        else:
            said += changes
        return tuple(said)

    def _decide(self, number: CellNumber, row: int) -> tuple[Unit, float]:
        if number.letter:
            return self._of_letter(number, row), 1.0
        if number.unit == "K" and "frequency" in kinds_of(self._column):
            return self._of_letter(CellNumber(number.value, letter="K"), row), 1e3
        if number.unit == "K" and "temperature" not in kinds_of(self._column):
            raise self._contradiction("K may be kilo or kelvin", "k for kilo, or the whole unit", row)
        if number.unit:
            return self._of_text(number.unit, row), 1.0
        if self._heading is not None:
            return self._heading, 1.0
        if bench_unit(self._column).kind == "ratio":
            return UNITLESS, 1.0
        raise self._no_unit(row)

    def _of_text(self, text: str, row: int) -> Unit:
        unit = self._known_unit(text, row)
        column = self._column.removeprefix("u_")
        kind = self._heading.kind if self._heading else ""
        if unit.kind == "voltage" and kind in _READ_AS:  # headed Vrms, 412 mV in the cell
            return parse_unit(unit.symbol + _READ_AS[kind], self._place(row))
        volts = "voltage" in unit.kind
        if (column == "rf_level_vrms" and unit.kind == "power level") or (column == "rf_level_dbm" and volts):
            raise ReadingError(
                "a level in dBm and one in volts in the same column: only the load could tell how they compare",
                where=self._place(row), found=self._cells[row], allowed="one of the two in a column",
                cure="name the column in a layout as what most of its cells are, and pass the other lines over",
            )  # fmt: skip
        return unit

    def _known_unit(self, text: str, row: int) -> Unit:
        """Return the unit of that spelling; one that only its capitals leave in doubt is the heading's."""
        try:
            return parse_unit(text, self._place(row))
        except ReadingError:
            heading = self._heading
            if heading is None or "".join(text.split()).lower() != heading.symbol.lower():
                raise
            self._said.append(f"{text} in the cells read as {heading.symbol}, which the heading or the layout states")
            return heading

    def _of_letter(self, number: CellNumber, row: int) -> Unit:
        """Return the base unit to which the number's SI letter belongs; the letter is applied already."""
        letter, heading = number.letter.replace("µ", "u").replace("μ", "u"), self._heading
        base = parse_unit(number.unit, self._place(row)) if number.unit else heading or self._default(row)
        if base.symbol not in _BASE.values():
            symbol = base.symbol or "1"
            contradicts = "contradicts the heading's unit" if heading else "does not fit the unit"
            raise self._contradiction(
                f"the SI letter {number.letter} {contradicts} {symbol}",
                f"a number in {symbol}, or one with its whole unit", row, _BASE.get(base.kind, ""),
            )  # fmt: skip
        if letter == "m" and not number.unit and base.kind in ("time", "length"):
            other = "minutes" if base.kind == "time" else "metres"
            raise self._contradiction(f"m may be milli or {other}", f"the whole unit, such as m{base.symbol}", row)
        if letter == "K" and base.kind != "frequency":
            raise self._contradiction("K may be kilo or kelvin", "k for kilo, or the whole unit", row)
        parse_unit(letter + base.symbol, self._place(row))  # refuses mHz, MW and what no bench has
        return base

    def _default(self, row: int) -> Unit:
        """Return the base unit of the column when it can have only one kind of unit with a base."""
        bases = [_BASE[kind] for kind in kinds_of(self._column) if kind in _BASE]
        if len(bases) > 1:
            raise self._no_unit(row)
        return parse_unit(bases[0]) if bases else bench_unit(self._column)

    def _contradiction(self, what: str, allowed: str, row: int, fits: str = "") -> ReadingError:
        """Return the error; ``fits`` is a unit of the heading with which the cell could be read, "" for none."""
        where = self._place(row)
        stated = f"if the heading's unit is wrong, state it in a layout: {self._stated(fits)}; or " if fits else ""
        return ReadingError(
            what, where=where, found=self._cells[row], allowed=allowed, cure=f"{stated}{pass_over(where)}"
        )

    def _stated(self, symbol: str) -> str:
        return f'{self._column} = {{ headings = ["..."], unit = "{symbol}" }} under [columns]'

    def _no_unit(self, row: int) -> ReadingError:
        example, where = bench_unit(self._column).symbol, self._place(row)
        return ReadingError(
            f"a number without a unit in cell or heading, and the unit decides the number of {self._column}",
            where=where, found=self._cells[row], allowed=f"a unit such as {example}",
            cure=f"state it in a layout: {self._stated(example)}; or {pass_over(where)}",
        )  # fmt: skip
