"""How large the bench sheet may be set: its height on paper, reckoned from the number of its characters.

The page is as wide as A4 and as high as US Letter, less the margins of the template, so the sheet fits both. Letters
are as broad as those of a broad typeface (DejaVu Sans: 0.60 of the size, bold figures 0.70); others take less room.
All lengths below are in units of the size of the text, as in the template.
"""

from __future__ import annotations

import math
from dataclasses import replace

from aotf_lab.report.sheet_parts import BenchSheet
from aotf_lab.report.words import clipped

__all__ = ["fitted"]

_WIDTH_PT = (210 - 2 * 10) * 72 / 25.4
_HEIGHT_PT = (279.4 - 10 - 13) * 72 / 25.4
_SIZES_PT, _READABLE_PT = tuple(13.0 - 0.25 * k for k in range(33)), 7.5
_TERSE = 70, 85
"""Characters of what was found, and of the cure, where the room is short."""

_TEXT, _BOLD, _LEADING = 0.60, 0.70, 1.25
_SPARE = 1.05
"""What browsers round up across."""

_NAME, _DRIVE, _OTHER, _U, _SMALL = 2.0, 2.4, 1.9, 0.55, 0.85
"""Sizes of a line's name, its drive, its other numbers; of an uncertainty beside its number; of small text."""

_BOX, _CELL = 1.7, 0.7
_COLUMNS = (0.50, 0.13, 0.37)
"""Shares of the width: what failed, its cost, the cure."""

_PLAY_COLUMNS, _VOLTS = (0.18, 0.115, 0.36), 1.6
"""Shares of the width: what is played, each of four volts to type, what it is; the size of the volts."""


def fitted(sheet: BenchSheet) -> BenchSheet:
    """Return the sheet in the largest size in which it fits.

    Rather than too small, what failed is told in fewer words; then the longer of the tables of what failed and of what
    to play loses its last row, and says so.
    """
    for size_pt in _SIZES_PT:
        wide = _WIDTH_PT / size_pt
        table_em = min(1.0, wide / (_SPARE * max(_table_width(sheet), 1.0)))
        fits = _SPARE * _boxes_width(sheet) <= wide and _height(sheet, wide, table_em) <= _HEIGHT_PT / size_pt
        left = bool(sheet.failures or sheet.plays)
        if fits or (size_pt == _SIZES_PT[-1] and not left):
            return replace(sheet, size_pt=size_pt, table_em=round(table_em, 3))
        if size_pt <= _READABLE_PT and left:
            break
    terse = tuple(
        replace(f, words=clipped(f.words, _TERSE[0]), cure=clipped(f.cure, _TERSE[1])) for f in sheet.failures
    )
    if terse != sheet.failures:
        return fitted(replace(sheet, failures=terse))
    wide = _WIDTH_PT / _READABLE_PT
    if sheet.plays and _plays(sheet, wide) >= _failures(sheet, wide):
        return fitted(replace(sheet, plays=sheet.plays[:-1], more_plays=sheet.more_plays + 1))
    return fitted(replace(sheet, failures=sheet.failures[:-1], more=sheet.more + 1))


def _table_width(sheet: BenchSheet) -> float:
    """Return the width of the table of lines, none of whose cells may break."""
    if not sheet.lines:
        return 0.0
    columns = {
        _BOLD * _NAME: [n.name for n in sheet.lines],
        _BOLD * _DRIVE: [n.drive for n in sheet.lines],
        _TEXT * _OTHER: [n.rf_power for n in sheet.lines],
    }
    widths = [size * max(map(_characters, column)) for size, column in columns.items()]
    widths.append(_TEXT * _OTHER * max(_characters(n.supply) for n in sheet.lines))
    widths.append(_TEXT * max(len(n.wavelength) for n in sheet.lines))
    if sheet.typed:
        typed = [len(text) for n in sheet.lines if len(n.typed) == 2 for text in n.typed]
        widths += [max(_TEXT * _OTHER * max(typed, default=0), 6.0)] * 2
    return sum(widths) + _CELL * len(widths)


def _characters(text: str) -> float:
    """Return the number of full-sized characters that a number with its uncertainty takes the room of."""
    value, bracket, rest = text.partition("(")
    return len(value) + _U * len(bracket + rest)


def _boxes_width(sheet: BenchSheet) -> float:
    return 3 * max(_BOLD * _BOX * _characters(box.value) + 1.4 for box in sheet.boxes)


def _height(sheet: BenchSheet, wide: float, table_em: float) -> float:
    head = 3.4 + _lines(f"Readings of {sheet.day}. {sheet.note}", wide, _SMALL)
    boxes = max(
        _lines(b.title, wide / 3 - 1.4, _SMALL) + 1.25 * _BOX + _lines(b.words, wide / 3 - 1.4, _SMALL)
        for b in sheet.boxes
    ) + 1.3  # fmt: skip
    table = table_em * (3.0 + len(sheet.lines) * (1.15 * _DRIVE + 0.3)) + 1.0
    notes = sum(_lines(note, wide, _SMALL) + 0.15 for note in sheet.notes)
    return head + boxes + table + notes + _plays(sheet, wide) + _failures(sheet, wide) + 5.6


def _plays(sheet: BenchSheet, wide: float) -> float:
    if not sheet.plays and not sheet.more_plays:
        return 0.0
    height = 4.6 + 1.2 * bool(sheet.more_plays)
    name, volts, words = _PLAY_COLUMNS
    for play in sheet.plays:
        cells = ((play.name, name), (play.steps, 4 * volts), (play.words, words))
        rows = [_lines(text, share * wide - _CELL, _SMALL) for text, share in cells]
        height += max(*rows, 1.15 * _VOLTS if play.typed else 0.0) + 0.35
    return height


def _failures(sheet: BenchSheet, wide: float) -> float:
    height = 3.2 + 1.2 * bool(sheet.more)
    for f in sheet.failures:
        cells = (f"{f.title}. {f.words}", f.cost, f.cure)
        rows = (_lines(text, share * wide - _CELL, _SMALL) for text, share in zip(cells, _COLUMNS, strict=True))
        height += max(rows) + 0.35
    return height


def _lines(text: str, wide: float, size: float) -> float:
    """Return the height of text broken to the width; words that do not fit whole waste a part of each line."""
    return math.ceil(1.06 * _TEXT * size * len(text) / wide) * size * _LEADING
