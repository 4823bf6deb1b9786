"""Lines below the headings that are no readings: summaries, repeated headings and units, rules."""

from __future__ import annotations

import re

from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.kinds import has_reading, is_unit_cell, kinds_in

__all__ = ["is_rule", "is_units_row", "summary_reason"]

_WORDS = (
    r"mean|averages?|avg|std\.?(?:[ _-]?dev\.?)?|st\.?[ ]?dev\.?|stdev|standard deviation|rms|min(?:imum)?|max(?:imum)?"
    r"|mittelwert|summe|anzahl|standardabweichung|moyenne|slope|intercept"
    r"|median|peak[ -]to[ -]peak|sum|total|subtotal|count|number of \w+|eof|checksum|quartile|percentile"
    r"|end(?: of (?:data|file|log|run|record|measurement))?|(?:end|stop) time"
)
_WORDS_OF_LABELS = r"n|s\.?d\.?|sigma|var(?:iance)?|range|samples?|points?|rows?|lines?|readings?|records?|stop(?:ped)?"
"""Words that may as well be the label of a reading: they count where the first column holds numbers."""

_TAIL = r"\b\.?[\s*=\->\])]*(?:[:=(\[].*)?"
_WORD = re.compile(rf"[*=\-<\[(\s]*(?:{_WORDS}){_TAIL}", re.IGNORECASE)
_ANY_WORD = re.compile(rf"[*=\-<\[(\s]*(?:{_WORDS}|{_WORDS_OF_LABELS}){_TAIL}", re.IGNORECASE)
_BEGINS = re.compile(rf"[*=\-<\[(\s]*(?:{_WORDS})\b", re.IGNORECASE)
_COUNTED = re.compile(r"[0-9][0-9 ,.]* (?:rows?|lines?|readings?|points?|samples?|records?|values?)\b.*", re.IGNORECASE)
_RULE_SIGNS = frozenset(" \t|+:;,=_*~-")


def summary_reason(row: RawRow, width: int, *, labels: bool) -> str:
    """Return why a row below the last reading is a summary, "" when it is none; ``labels``: words stand in column one.

    >>> summary_reason(RawRow(9, "Mean,64.2", ("Mean", "64.2")), 2, labels=False)
    "summary 'Mean' below the last reading"
    """
    first = next((cell for cell in row.cells if cell), "")
    if (_WORD if labels else _ANY_WORD).fullmatch(first):
        return f"summary {first!r} below the last reading"
    if _COUNTED.fullmatch(first):
        return f"count of rows {first!r} below the last reading"
    if len(row.cells) == 1 < width and _BEGINS.match(first):
        return f"summary {first!r} below the last reading"
    if is_rule(row):
        return "a line of dashes"
    if len(row.cells) != width and not has_reading(kinds_in(row.cells)) and not re.search("[0-9]", row.text):
        return "text below the last reading"
    return ""


def is_rule(row: RawRow) -> bool:
    """Return whether the row only draws a line: one run of dashes, or one below each heading."""
    text = row.text.strip()
    if len(text) < 4 or not _RULE_SIGNS.issuperset(text):
        return False
    return "|" in text or "+" in text or (len(row.cells) == 1 and any(sign * 3 in text for sign in "-=_*~"))


def is_units_row(cells: tuple[str, ...]) -> bool:
    """Return whether the cells are units, in brackets or not, besides empty ones and dashes.

    >>> is_units_row(("(V)", "MHz", "")), is_units_row(("1", "1")), is_units_row(("V", "B"))
    (True, False, False)
    """
    filled = [cell for cell in cells if cell and not re.fullmatch(r"[-\u2013/()\[\]\s]{1,2}", cell)]
    return any(not cell.isdigit() for cell in filled) and all(is_unit_cell(cell) for cell in filled)
