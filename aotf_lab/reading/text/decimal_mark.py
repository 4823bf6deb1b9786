"""Which sign is the decimal mark and which group thousands, from all cells that look like numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.receipt import FlaggedRow
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.number_marks import BLANKS, USES, SeenMarks, look_at
from aotf_lab.reading.units import is_unit

__all__ = ["DecimalMark", "find_decimal_mark"]

_ENOUGH = 1000
_ONLY_GROUPS = "'\u2019\u2009\u202f"
"""Marks that stand between thousands and nowhere else: beside them a comma is decimal."""

_UNSEEN = {".": re.compile(f"[,{BLANKS}]"), ",": re.compile(f"[.{BLANKS}]")}
_UNIT_BEHIND = re.compile(r"[0-9]\s?([^0-9.,\s/]+)(?:[ /].*)?$")


@dataclass(frozen=True)
class DecimalMark:
    """The decimal mark, the evidence for it, the signs seen between thousands, and rows where one is in doubt."""

    mark: str
    evidence: str
    thousands: str
    doubted: tuple[FlaggedRow, ...] = ()


def find_decimal_mark(
    name: str, rows: Sequence[RawRow], above: Sequence[RawRow], separator: str, layout: Layout
) -> DecimalMark:
    """Return the decimal mark of the numbers in ``rows``, of the settings ``above`` them where those leave doubt.

    Raises ``ReadingError`` where points and commas both are decimal, and where every comma (or, below
    decimal commas, every point) could as well group thousands: "1,234" alone does not say what it is.
    """
    _check_stated(name, layout)
    seen = _look(rows)
    blanks = "".join(sorted(seen.blanks))
    stated = layout.decimal_mark or {",": ".", ".": ","}.get(layout.thousands_mark or "")
    if not stated and layout.thousands_mark == "" and seen.get(",", "either") and not seen.get(".", *USES):
        stated = ","  # no mark groups thousands, so the comma in 1,234 is decimal
    if stated:
        other = "." if stated == "," else ","
        slip = any(own.get(other, "either") and own.get(stated, *USES) for own in _of_columns(rows))
        open_ = seen.get(other, "either") and not slip  # 54.902 in one column with 45,783 may be a slip
        grouped = (seen.get(other, "group") or open_) and not seen.get(other, "decimal")
        groups = layout.thousands_mark if layout.thousands_mark is not None else other * bool(grouped)
        return DecimalMark(stated, "stated in the layout", blanks + groups * (groups not in blanks))
    open_comma = seen.get(",", "either") and not seen.get(",", "decimal", "group") and not seen.get(".", *USES)
    open_point = seen.get(".", "either") and not seen.get(".", "decimal") and not seen.get(",", *USES)
    setting = _look_above(above) if separator != "comma" and (open_comma or open_point) else None
    settled = (",", _as("commas", setting), "." if open_point else "") if setting else None
    if not settled and seen.get(".", "group") and not seen.get(".", "decimal") and not seen.get(",", "decimal"):
        _refuse_lone_points(name, rows)
    mark, evidence, groups = settled or _decide(name, seen, separator)
    return DecimalMark(mark, evidence, blanks + groups, _alone(seen, rows))


def _alone(seen: SeenMarks, rows: Sequence[RawRow]) -> tuple[FlaggedRow, ...]:
    """Return the row, with its copies, of the only number with a blank inside: a sign may be lost there."""
    if seen.spaced_count != 1:
        return ()
    _, cell = seen.spaced
    reason = f"{cell!r} is the only number with a blank inside: taken as a mark between thousands"
    return tuple(FlaggedRow(row.line, row.text, reason) for row in rows if cell in row.cells)


def _decide(name: str, seen: SeenMarks, separator: str) -> tuple[str, str, str]:
    """Return the decimal mark, the evidence, and the mark among point and comma that groups thousands."""
    comma, point = seen.get(",", "decimal"), seen.get(".", "decimal")
    commas, points = seen.get(",", *USES), seen.get(".", *USES)
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
        marks = [mark for mark in _ONLY_GROUPS if mark in seen.blanks]
        if marks and not points:
            return ",", f"decimal commas, as in {loose[1]!r} in line {loose[0]}: {marks[0]!r} groups thousands", ""
        if points:
            raise _doubt(name, "points as well as commas in numbers", points)
        raise _doubt(name, "every comma could group thousands", loose)
    if points:
        return ".", _as("points", points), "," * bool(commas)
    if separator == "comma":
        return ".", "no number has a decimal mark, and commas stand between the cells", "," * bool(commas)
    return ".", "no number has a decimal mark", "," * bool(commas)


def _refuse_lone_points(name: str, rows: Sequence[RawRow]) -> None:
    """Refuse a column of 1.250 beside one of 45.783.012: two instruments may have written them, each in its way."""
    for own in _of_columns(rows):
        if (lone := own.get(".", "either")) and not own.get(".", "group"):
            raise _doubt(name, "points group thousands in another column, and may be decimal in this one", lone)


def _of_columns(rows: Sequence[RawRow]) -> Iterator[SeenMarks]:
    """Yield what each column shows of marks."""
    for cells in zip(*(row.cells for row in rows), strict=False):
        own = SeenMarks()
        for row, cell in zip(rows, cells, strict=True):
            look_at(own, row.line, cell)
        yield own


def _as(marks: str, seen: tuple[int, str]) -> str:
    return f"decimal {marks}, as in {seen[1]!r} in line {seen[0]}"


def _look(rows: Sequence[RawRow]) -> SeenMarks:
    seen = SeenMarks()
    plain = {".": 0, ",": 0, "": 0}
    settled: re.Pattern[str] | None = None
    for row in rows:
        if settled and not settled.search("".join(row.cells)):
            continue  # one decimal mark a thousand times and never the other: such a row says nothing new
        for cell in row.cells:
            if not cell.isdigit():
                plain[look_at(seen, row.line, cell)] += 1
        if settled is None and plain["."] + plain[","] > _ENOUGH and not (plain["."] and plain[","]):
            settled = _UNSEEN["." if plain["."] else ","]
    return seen


def _look_above(above: Sequence[RawRow]) -> tuple[int, str] | None:
    """Return a setting with a unit that shows a decimal comma, None when there is none or one shows a point.

    A bare 2.4 above the headings may be a version, and a bare 1,2 a list, so only numbers with a unit count.
    """
    settings = SeenMarks()
    for row in above:
        for cell in row.cells[1:]:
            unit = _UNIT_BEHIND.search(cell)
            if unit and is_unit(unit[1]):
                look_at(settings, row.line, cell)
    comma = settings.get(",", "decimal")
    return comma if comma and not settings.get(".", "decimal") else None


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
