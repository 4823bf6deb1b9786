"""Good raw files to damage: their columns, numbers and manner of writing, kept apart so that either can change.

The committed cases in ``reading_faults_seeds.toml`` name bases and byte positions: changing a base
changes their meaning, so add a base rather than alter one.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from aotf_lab.reading import read_counter, read_lines, read_power_log, read_scope_levels
from aotf_lab.reading.readings import Readings

__all__ = ["BASES", "EXPONENTS", "Base", "Column", "Style", "headings", "render"]

EXPONENTS = {
    "V": ("voltage", 0), "mV": ("voltage", -3), "uV": ("voltage", -6),
    "Hz": ("frequency", -6), "kHz": ("frequency", -3), "MHz": ("frequency", 0), "GHz": ("frequency", 3),
    "nW": ("optical", -6), "uW": ("optical", -3), "µW": ("optical", -3), "μW": ("optical", -3),
    "mW": ("optical", 0), "W": ("optical", 3),
    "s": ("time", 0), "ms": ("time", -3), "us": ("time", -6),
    "nm": ("wavelength", 0), "um": ("wavelength", 3), "pm": ("wavelength", -3),
    "degC": ("temperature", 0), "°C": ("temperature", 0), "C": ("temperature", 0),
    "Vrms": ("level", 0), "mVrms": ("level", -3),
}  # fmt: skip
"""Unit -> its kind, and the power of ten from it to the bench unit of that kind."""


@dataclass(frozen=True)
class Column:
    """A column: its words, unit ("" for text), meaning ("" when not used), and the unit's kind."""

    words: str
    unit: str
    meaning: str
    kind: str = ""


@dataclass(frozen=True)
class Style:
    """How a file is written. ``units``: where units stand, "heading", "row" or "cells"."""

    separator: str = ","
    decimal: str = "."
    thousands: str = ""
    quoted: bool = False
    units: str = "heading"
    encoding: str = "utf-8"
    mark: bytes = b""
    end: str = "\n"


@dataclass(frozen=True)
class Base:
    """A good file: reader, columns, rows of numbers (decimal points), its style, lines above, titles of groups.

    ``groups``: readings in one row, each as meaning -> position; of a pair of positions the middle counts.
    """

    name: str
    reader: Callable[..., Readings]
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    style: Style = Style()
    above: tuple[str, ...] = ()
    groups: tuple[dict[str, int | tuple[int, int]], ...] = ()
    titles: tuple[str, ...] = ()

    @property
    def readings(self) -> tuple[dict[str, int | tuple[int, int]], ...]:
        """``groups``, or the one reading of a plain row."""
        return self.groups or ({c.meaning: k for k, c in enumerate(self.columns) if c.meaning},)


def _number(text: str, style: Style) -> str:
    """Write a number in a style; text stays as it is."""
    try:
        plain = f"{Decimal(text):f}"
    except ArithmeticError:
        return text
    whole, point, rest = plain.partition(".")
    sign, digits = ("-", whole[1:]) if whole.startswith("-") else ("", whole)
    if style.thousands:
        first = len(digits) % 3 or 3
        digits = style.thousands.join([digits[:first], *(digits[k : k + 3] for k in range(first, len(digits), 3))])
    return sign + digits + (style.decimal if point else "") + rest


def render(base: Base, units: dict[int, str] | None = None) -> bytes:
    """Return the bytes of ``base``; ``units`` gives columns (by position) another unit, their numbers converted."""
    style, columns = base.style, list(base.columns)
    shift = [0] * len(columns)
    for position, unit in (units or {}).items():
        shift[position] = EXPONENTS[columns[position].unit][1] - EXPONENTS[unit][1]
        columns[position] = replace(columns[position], unit=unit)
    lines = [re.sub(r"(?<=\d)\.(?=\d)", style.decimal, line) for line in base.above]
    lines += [_joined(list(base.titles), style)] if base.titles else []
    lines.append(_joined(headings(columns, style), style))
    lines += [_joined([c.unit for c in columns], style)] if style.units == "row" else []
    for row in base.rows:
        cells = []
        for cell, column, places in zip(row, columns, shift, strict=True):
            moved = f"{Decimal(cell).scaleb(places):f}" if places and cell else cell
            written = _number(moved, style) if column.unit else moved
            cells.append(f"{written} {column.unit}" if style.units == "cells" and column.unit else written)
        lines.append(_joined(cells, style))
    return style.mark + "".join(line + style.end for line in lines).encode(style.encoding, errors="replace")


def headings(columns: Sequence[Column], style: Style) -> list[str]:
    """Return the heading of each column."""
    in_heading = style.units == "heading"
    return [f"{c.words} ({c.unit})" if in_heading and c.unit else c.words for c in columns]


def _joined(cells: list[str], style: Style) -> str:
    return style.separator.join(f'"{c}"' if style.quoted else c for c in cells)


_V = Column("Drive", "V", "drive_v", "voltage")
_F = Column("Counter", "MHz", "frequency_mhz", "frequency")
_T = Column("Box temperature", "degC", "temperature_c", "temperature")
_P = Column("Diffracted", "uW", "optical_power_mw", "optical")
_TIME = Column("Time", "s", "time_s", "time")
_VF = (
    ("1.0", "45.783"), ("1.5", "48.230"), ("2.0", "50.541"), ("2.5", "52.7712"), ("3.0", "54.902"), ("4.25", "59.91"),
    ("5.39", "64.2285"), ("7.0", "69.962"), ("10.5", "81.004"), ("12.75", "86.4129"),
)  # fmt: skip
_POWER = ("412.3", "415.1", "413.75", "414.2", "9.1", "415.04", "1412.9", "414.0")


def _base(name, reader, columns, rows, style=Style(), **more):
    return Base(name, reader, tuple(columns), tuple(tuple(r) for r in rows), style, **more)


BASES: dict[str, Base] = {
    b.name: b
    for b in (
        _base(
            "plain", read_counter, (_V, _F, Column("Direction", "", "direction"), _T),
            [(v, f, "up" if k < 7 else "down", "21.5" if k % 5 == 0 else "") for k, (v, f) in enumerate(_VF)],
        ),
        _base("decimal_comma", read_counter, (_V, _F), _VF, Style(";", ",", mark=b"\xef\xbb\xbf", end="\r\n")),
        _base("thousands", read_counter, (replace(_V, unit="mV"), replace(_F, unit="kHz")),
              [(f"{Decimal(v).scaleb(3):f}", f"{Decimal(f).scaleb(3):.1f}") for v, f in _VF], Style(";", ",", ".")),
        _base("utf16", read_power_log, (_TIME, replace(_P, unit="µW")),
              [(f"{k * 0.5}", p) for k, p in enumerate(_POWER)],
              Style("\t", encoding="utf-16-le", mark=b"\xff\xfe", end="\r\n")),
        _base("units_row", read_power_log, (_F, replace(_P, unit="µW"), replace(_T, unit="°C")),
              [(f, p, "21.8") for (_, f), p in zip(_VF, _POWER, strict=False)], Style(units="row", encoding="latin-1")),
        _base("units_in_cells", read_counter, (_V, _F), _VF, Style(units="cells")),
        _base("interval", read_power_log, (_P,), [(p,) for p in _POWER],
              above=("Bench: Skerry", "Wavelength setting: 589 nm", "Sample interval: 0.5 s", "Range: 3 mW")),
        _base("counts", read_power_log, (Column("Diffracted", "counts", "optical_power_mw", "counts"),),
              [("3810",), ("3832",), ("3821",), ("512",), ("600",), ("4095",)],
              above=("Scale: 0.125 uW per count", "Offset: 512 counts")),
        _base("clock", read_power_log, (Column("Time", "", "time_s", "clock"), _P),
              [(f"2031-03-04 09:{15 + k // 3:02d}:{20 * (k % 3):02d}", p) for k, p in enumerate(_POWER)]),
        _base("repeats", read_counter, (_V, replace(_F, words="Counter 1"), replace(_F, words="Counter 2")),
              [(v, f, f"{Decimal(f) + Decimal('0.003')}") for v, f in _VF],
              groups=({"drive_v": 0, "frequency_mhz": 1}, {"drive_v": 0, "frequency_mhz": 2})),
        _base("blocks", read_counter, (_V, _F, Column("", "", ""), _V, _F),
              [(v, f, "", w, g) for (v, f), (w, g) in zip(_VF, _VF[::-1], strict=True)],
              titles=("up", "", "", "down", ""),
              groups=({"drive_v": 0, "frequency_mhz": 1}, {"drive_v": 3, "frequency_mhz": 4})),
        _base("min_max", read_counter, (_V, replace(_F, words="Counter min"), replace(_F, words="Counter max")),
              [(v, f, f"{Decimal(f) + Decimal('0.008')}") for v, f in _VF],
              groups=({"drive_v": 0, "frequency_mhz": (1, 2)},)),
        _base("lines", read_lines, (Column("Label", "", "label"),
              Column("Wavelength in vacuum", "nm", "wavelength_nm", "wavelength"), replace(_F, words="Peak frequency")),
              [("B", "473.19", "86.341"), ("D", "556.42", "69.084"), ("E", "589.12", "64.228"),
               ("G", "671.29", "54.756")]),
        _base("level", read_scope_levels, (Column("Supply", "V", "supply_v", "voltage"), _F,
              Column("Scope", "mVrms", "rf_level_vrms", "level")),
              [(v, f, f"{20 + 7.5 * k}") for k, (v, f) in enumerate(_VF)], Style("\t", ",", end="\r")),
        _base("efficiency", read_power_log, (_F, _P, replace(_P, words="Incident", meaning="incident_power_mw"),
              replace(_P, words="Dark", meaning="dark_power_mw")),
              [(f, p, "1512.5", "2.3") for (_, f), p in zip(_VF, _POWER, strict=False)], Style(";")),
    )
}  # fmt: skip
"""Name -> good file."""
