"""What one cell of a damaged file can mean, read strictly and apart from the package.

A number in the decimal mark of the file and the unit of its heading; a number with its own unit, or with
the letter of a multiple (IEC 60062); a ditto mark; a stamp of a clock; counts with scale and offset.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime

from tests.reading_faults import Case
from tests.reading_faults_bases import EXPONENTS, Style

__all__ = ["ANY", "Values", "meant", "plain_numbers", "unit_of"]

Values = list[float | str | datetime]

_FOLDED = {"Âµ": "µ", "Î¼": "μ", "Â°": "°"}
_DITTO = {'"', "''", "〃", "do.", "do", "ditto", "”", "“", "″", ",,", '-"-', '--"--'}
_LETTERS = {"n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "k": 3, "K": 3, "M": 6, "G": 9}
_SI = {"V": 0, "Vrms": 0, "Hz": -6, "W": 3, "s": 0}
"""Base unit -> power of ten to the bench unit, for letters in place of a decimal mark."""
_SCALE = re.compile(r"^Scale\W*([0-9.,]+(?:E[0-9]+)?)[\s,;]*(\S*W)(?:\s+per\s+count)?\s*$", re.IGNORECASE)
_OFFSET = re.compile(r"^Offset[^\w+-]*([+-]?[0-9.,]+(?:[eE][0-9]+)?)\s*counts?\s*$", re.IGNORECASE)
_CLOCK = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})[ T](\d{1,2}):(\d{1,2}):(\d{1,2})(?:[.,](\d*))?$", re.ASCII)
_OVER_RANGE = 9.8e37
ANY = "any text"
"""Below a heading that is damaged a column of text may be passed over, and its words made otherwise."""


def unit_of(text: str, kind: str) -> str | None:
    """Return the unit that ``text`` spells, None where it is none of that kind."""
    squeezed = re.sub(r"[ \t\xa0]+", "", text)
    for wrong, right in _FOLDED.items():
        squeezed = squeezed.replace(wrong, right)
    if kind == "counts":
        return "counts" if squeezed.lower() in ("counts", "count") else None
    matching = [u for u, (k, _) in EXPONENTS.items() if k == kind and u.lower() == squeezed.lower()]
    return squeezed if squeezed in matching else matching[0] if matching else None


def meant(case: Case, meaning: str, at: int | tuple[int, int], cells: list[str], units: list[str | None],
           above: list[str], before: dict[str, Values]) -> Values:  # fmt: skip
    """Return every value that the cell (of a pair: its middle) can mean; none where the text says no number."""
    if isinstance(at, tuple):
        low, high = (meant(case, meaning, p, cells, units, above, {}) for p in at)
        return [(a + b) / 2 for a in low for b in high if isinstance(a, float) and isinstance(b, float)]
    cell, column, style = cells[at], case.base.columns[at], case.base.style
    if cell in _DITTO:
        return before.get(meaning, [])
    if column.kind == "clock":
        return _clock(cell)
    if not column.unit:
        return [cell] if units[at] is not None else [cell, ANY]
    if not cell:
        return [math.nan] if meaning == "temperature_c" else []
    if meaning == "temperature_c" and not cell.strip("-"):
        return [math.nan]
    if column.kind == "counts":
        counted = [_counted(n, above, style) for n in plain_numbers(cell, style) if units[at]]
        return [c for c in counted if c is not None]
    found = [_scaled(n, EXPONENTS[unit][1]) for unit in [units[at]] if unit for n in plain_numbers(cell, style)]
    found += _with_unit(cell, column.kind, style) + _with_letter(cell, column.kind, units[at], style)
    return [v for v in found if abs(v) < _OVER_RANGE]


def _with_unit(cell: str, kind: str, style: Style) -> list[float]:
    """Return what a cell means that carries its unit, behind the number or in place of the decimal mark."""
    found = []
    behind = re.match(r"^(.*?[\d.,])\s*([^\d.,]+)$", cell)
    own = _own_unit(behind[2], kind) if behind else None
    found += [_scaled(n, EXPONENTS[own][1]) for n in plain_numbers(behind[1], style)] if behind and own else []
    if kind == "temperature" and cell.endswith("K"):
        found += [n - 273.15 for n in plain_numbers(cell[:-1].strip(), style)]
    between = re.match(r"^(\d+)([^\d\s.,]+)(\d+)$", cell, re.ASCII)
    own = _own_unit(between[2], kind) if between else None
    found += [_scaled(float(f"{between[1]}.{between[3]}"), EXPONENTS[own][1])] if between and own else []
    return found


def _own_unit(text: str, kind: str) -> str | None:
    """Return the unit in a cell; volts in a column of rms volts are rms volts."""
    return unit_of(text, kind) or (unit_of(text, "voltage") if kind == "level" else None)


def _with_letter(cell: str, kind: str, heading: str | None, style: Style) -> list[float]:
    """Return what a cell means that has the letter of a multiple, as 12k3 and 850u; its unit has no multiple then."""
    own = next((u for u in sorted(_SI, key=len, reverse=True) if cell.endswith(u) and EXPONENTS[u][0] == kind), None)
    bases = [u for u in _SI if EXPONENTS[u][0] == kind]
    unit = own or heading or (bases[0] if style.units == "cells" and bases else None)
    if unit not in _SI:
        return []
    found, body = [], cell.removesuffix(own or "").strip()
    for letter, power in _LETTERS.items():
        split = re.match(rf"^([+-]?\d+(?:[.,]\d*)?)\s*{letter}(\d*)$", body, re.ASCII)
        if split and (not split[2] or split[1].lstrip("+-").isdigit()):
            numbers = [float(f"{split[1]}.{split[2]}")] if split[2] else plain_numbers(split[1], style)
            found += [_scaled(n, power + _SI[unit]) for n in numbers]
    return found


def _scaled(number: float, power: int) -> float:
    return number * 10.0**power


def plain_numbers(cell: str, style: Style) -> list[float]:
    """Return the number that the cell is in this style, none for anything else."""
    text = cell.replace("\u2212", "-")
    other = "," if style.decimal == "." else "."
    if not style.thousands and re.search(rf"[1-9]\d{{0,2}}{re.escape(other)}\d{{3}}{re.escape(style.decimal)}\d", cell):
        style = replace(style, thousands=other)  # both marks in one number: neither is in doubt
    mark, thousands = re.escape(style.decimal), re.escape(style.thousands)
    grouped = rf"|[1-9]\d{{0,2}}(?:{thousands}\d{{3}})+" if thousands else ""
    if not re.match(rf"^[+-]?(?:(?:\d+{grouped})(?:{mark}\d*)?|{mark}\d+)(?:[eE][+-]?\d+)?$", text, re.ASCII):
        return []
    number = float((text.replace(style.thousands, "") if thousands else text).replace(style.decimal, "."))
    return [number] if abs(number) < _OVER_RANGE else []


def _counted(number: float, above: list[str], style: Style) -> float | None:
    scale = next((m for m in map(_SCALE.match, above) if m), None)
    offset = next((m for m in map(_OFFSET.match, above) if m), None)
    unit = unit_of(scale[2], "optical") if scale else None
    if scale is None or unit is None or (offset is None and any(re.search(r"\d\W*count", a) for a in above)):
        return None
    size = (
        plain_numbers(scale[1], style) or plain_numbers(scale[1], Style()) or plain_numbers(scale[1], Style(";", ","))
    )
    zero = plain_numbers(offset[1], style) if offset else [0.0]
    return _scaled((number - zero[0]) * size[0], EXPONENTS[unit][1]) if size and zero else None


def _clock(cell: str) -> Values:
    match = _CLOCK.match(re.sub(r"\s*:\s*", ":", re.sub(r"\s+", " ", cell)))
    try:
        micro = int(((match[7] or "") + "000000")[:6]) if match else 0
        return [datetime(*(int(match[k]) for k in range(1, 7)), micro)] if match else []  # type: ignore[misc,arg-type]
    except ValueError:
        return []
