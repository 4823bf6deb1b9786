"""Which sign is the decimal mark and which group thousands, from all cells that look like numbers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.text.grid import RawRow

__all__ = ["DecimalMark", "find_decimal_mark"]

BLANKS = " \u00a0\u2009\u202f'\u2019"
"""Marks between thousands that cannot be decimal marks."""

_UNPLAIN = BLANKS + '"'
_USES = ("decimal", "group", "either")

_CORE = re.compile(rf"[+\-\u2212]?[ ]?([0-9][0-9.,{BLANKS}]*|[.,][0-9]+)(?P<rest>.*)", re.DOTALL)
_DATE = re.compile(r"[0-9]{1,4}\.[0-9]{1,2}\.[0-9]{2,4}(?![0-9])")
_GROUPED = re.compile(rf"[1-9][0-9]{{0,2}}(?:([.,{BLANKS}])[0-9]{{3}})(?:\1[0-9]{{3}})*")
_REST = re.compile(r"(?:[eE][+\-\u2212]?[0-9]+)?[^0-9:/]*")


@dataclass(frozen=True)
class DecimalMark:
    """The decimal mark, the evidence for it, and the signs that were seen between thousands."""

    mark: str
    evidence: str
    thousands: str


@dataclass
class _Seen:
    """First cell (with its line) that shows each use: (mark, use) -> cell; use "decimal", "group", "either"."""

    first: dict[tuple[str, str], tuple[int, str]] = field(default_factory=dict)
    blanks: set[str] = field(default_factory=set)

    def note(self, mark: str, use: str, line: int, cell: str) -> None:
        self.first.setdefault((mark, use), (line, cell))

    def get(self, mark: str, *uses: str) -> tuple[int, str] | None:
        found = [self.first[mark, use] for use in uses if (mark, use) in self.first]
        return min(found) if found else None


def find_decimal_mark(name: str, rows: Sequence[RawRow], separator: str, layout: Layout) -> DecimalMark:
    """Return the decimal mark of the numbers in ``rows``.

    Raises ``ReadingError`` where points and commas both are decimal, and where every comma (or, below
    decimal commas, every point) could as well group thousands: "1,234" alone does not say what it is.
    """
    _check_stated(name, layout)
    seen = _look(rows, separator)
    blanks = "".join(sorted(seen.blanks))
    stated = layout.decimal_mark or {",": ".", ".": ","}.get(layout.thousands_mark or "")
    if not stated and layout.thousands_mark == "" and seen.get(",", "either") and not seen.get(".", *_USES):
        stated = ","  # no mark groups thousands, so the comma in 1,234 is decimal
    if stated:
        other = "." if stated == "," else ","
        grouped = seen.get(other, "group", "either") and not seen.get(other, "decimal")
        groups = layout.thousands_mark if layout.thousands_mark is not None else other * bool(grouped)
        return DecimalMark(stated, "stated in the layout", blanks + groups * (groups not in blanks))
    mark, evidence, groups = _decide(name, seen, separator)
    return DecimalMark(mark, evidence, blanks + groups)


def _decide(name: str, seen: _Seen, separator: str) -> tuple[str, str, str]:
    """Return the decimal mark, the evidence, and the mark among point and comma that groups thousands."""
    comma, point = seen.get(",", "decimal"), seen.get(".", "decimal")
    commas, points = seen.get(",", *_USES), seen.get(".", *_USES)
    if separator == "comma" and comma and point:
        return ".", _as("points", point), ""  # a quoted 1,5 among 48.25: refused in its cell, by name
    if comma and point:
        raise _doubt(name, "points as well as commas in numbers", points or point)
    grouping = seen.get(".", "group")
    if comma or (grouping and not point):
        if points and not grouping:
            raise _doubt(name, "points as well as commas in numbers", points)
        evidence = _as("commas", comma) if comma else f"points group thousands, as in {points[1] if points else ''!r}"
        return ",", evidence, "." * bool(points)
    loose = seen.get(",", "either")
    if loose and not seen.get(",", "group"):
        if points:
            raise _doubt(name, "points as well as commas in numbers", points)
        raise _doubt(name, "every comma could group thousands", loose)
    if points:
        return ".", _as("points", points), "," * bool(commas)
    if separator == "comma":
        return ".", "no number has a decimal mark, and commas stand between the cells", "," * bool(commas)
    return ".", "no number has a decimal mark", "," * bool(commas)


def _as(marks: str, seen: tuple[int, str]) -> str:
    return f"decimal {marks}, as in {seen[1]!r} in line {seen[0]}"


def _look(rows: Sequence[RawRow], separator: str) -> _Seen:
    seen = _Seen()
    plain_points = 0
    for row in rows:
        text = row.text
        if plain_points > 1000 and (separator == "comma" or "," not in text) and not any(m in text for m in _UNPLAIN):
            continue  # decimal points by then, and no other mark can stand in this line
        for cell in row.cells:
            if not cell.isdigit():
                plain_points += _look_at(seen, row.line, cell)
    return seen


def _look_at(seen: _Seen, line: int, cell: str) -> bool:
    """Note what the cell says about marks; return whether it has a plain decimal point."""
    match = _CORE.fullmatch(cell)
    if not match or not _REST.fullmatch(match["rest"]) or _DATE.match(cell):
        return False
    core = match[1].rstrip(BLANKS)
    blanks = [mark for mark in BLANKS if mark in core]
    if blanks:
        whole = re.match(r"[^.,]*", core)
        if len(blanks) > 1 or not whole or not _GROUPED.fullmatch(whole[0]):
            return False
        seen.blanks.update(blanks)
        core = "9999" + core[whole.end() :]  # four digits without a mark: what follows is decimal
    point, comma = core.rfind("."), core.rfind(",")
    if point < 0 and comma < 0:
        return False
    if point >= 0 and comma >= 0:
        last, other = (".", ",") if point > comma else (",", ".")
        whole_part = core[: max(point, comma)]
        if core.count(last) == 1 and _GROUPED.fullmatch(whole_part):
            seen.note(last, "decimal", line, cell)
            seen.note(other, "group", line, cell)
        elif not _GROUPED.fullmatch(whole_part):
            seen.note(",", "decimal", line, cell)
            seen.note(".", "decimal", line, cell)
        return False
    mark = "." if point >= 0 else ","
    exponent = bool(match["rest"][:1] in ("e", "E") and match["rest"][1:2])
    if core.count(mark) > 1:
        if _GROUPED.fullmatch(core):
            seen.note(mark, "group", line, cell)
        return False
    if _GROUPED.fullmatch(core) and not exponent:
        seen.note(mark, "either", line, cell)
        return False
    seen.note(mark, "decimal", line, cell)
    return mark == "."


def _check_stated(name: str, layout: Layout) -> None:
    if layout.decimal_mark not in (None, ".", ","):
        raise ReadingError(
            "a decimal mark that is not known", where=f"{name}, layout", found=layout.decimal_mark,
            allowed="a point or a comma", cure='state decimal_mark = "." or decimal_mark = "," in the layout',
        )  # fmt: skip
    thousands = layout.thousands_mark
    if thousands and (thousands not in f".,{BLANKS}" or thousands == layout.decimal_mark):
        raise ReadingError(
            "a thousands mark that cannot be one", where=f"{name}, layout", found=thousands,
            allowed="a point, a comma, a blank or an apostrophe that is not the decimal mark, or \"\" for none",
            cure="correct thousands_mark in the layout",
        )  # fmt: skip


def _doubt(name: str, why: str, seen: tuple[int, str]) -> ReadingError:
    return ReadingError(
        f"decimal mark in doubt: {why}", where=f"{name}:{seen[0]}", found=seen[1],
        allowed="one decimal mark for the whole file, and another mark, or none, between thousands",
        cure='state it in a layout: decimal_mark = "," (or "."), and thousands_mark where thousands are grouped',
    )  # fmt: skip
