"""What each heading of a table means, in which unit, and on what evidence."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from aotf_lab.errors import ReadingError
from aotf_lab.reading.heading_words import column_by_unit, column_of_words, why_not_used
from aotf_lab.reading.layout import StatedColumn
from aotf_lab.reading.shape.blocks import mark_blocks, mark_equal_blocks
from aotf_lab.reading.shape.companions import with_companions
from aotf_lab.reading.shape.counts import Scale, no_scale
from aotf_lab.reading.shape.heading import NOT_USED, UNMARKED, ColumnMap, Heading, Marks
from aotf_lab.reading.shape.hints import NO_HINTS, Found, Hints, refuse_contradiction
from aotf_lab.reading.shape.mapped import mapped_headings, position_name, stated_columns
from aotf_lab.reading.shape.marks import marks_of
from aotf_lab.reading.shape.only_one import Wanted, claim_only_ones
from aotf_lab.reading.shape.pairs import settle_pairs
from aotf_lab.reading.shape.per_line import settle_lines
from aotf_lab.reading.shape.segments import mark_segments
from aotf_lab.reading.shape.split_heading import is_count_unit, known_unit, split_heading
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.units import UNITLESS, bench_unit, kinds_of, optical_column, parse_unit, to_bench
from aotf_lab.reading.words import BENCH_NAMES, TEXT_COLUMNS, UNDECIDED, plain_words, word_meaning

__all__ = ["NOT_USED", "ColumnMap", "Heading", "understand_headings"]


def understand_headings(
    headers: Sequence[str],
    where: str,
    columns: ColumnMap | None = None,
    *,
    stated: Mapping[str, StatedColumn] | None = None,
    hints: Hints = NO_HINTS,
    scale: Scale | None = None,
    titles: RawRow | None = None,
    wanted: Sequence[Wanted] = (),
    labels: Collection[str] = (),
) -> tuple[Heading, ...]:
    """Return the meaning of every heading; ``where`` is file:line of the heading row.

    ``columns`` and ``stated`` (of a layout) say what headings mean; ``hints`` what stands around the
    headings, ``scale`` what counts are, ``titles`` the row above the headings. A column of ``wanted``
    for which there is no word is claimed by its unit where only one heading has such a unit. ``labels``
    are names of lines that headings may carry.

    Raises ``ReadingError`` for a map that does not fit the file, two columns that claim one
    meaning, a unit that is missing, ambiguous or of another kind, and a limit of error (``±``)
    that does not say what it is.
    """
    mapped = mapped_headings(headers, where, stated_columns(columns, stated or {}), hints)
    taken = {h.column for h in mapped.values()} - {""}
    blocks = mark_equal_blocks(headers)
    reader = _Reader(where, hints, labels)
    found: list[Heading] = []
    for position, header in enumerate(headers):
        heading = mapped.get(position) or reader.heading(position, header, found)
        if heading.column in taken and position not in mapped:
            why = f"not used: {heading.column} is mapped to another column"
            heading = Heading(position, header, "", None, why, settled=True)
        if position in blocks and position not in mapped:
            heading = replace(heading, marks=replace(heading.marks, block=blocks[position]))
        found.append(heading)
    found = [_scaled(h, scale, where) for h in with_companions(found, hints)]
    claimed = claim_only_ones(settle_lines(mark_segments(found), labels, where), wanted, labels)
    return mark_blocks(settle_pairs(claimed), titles, where)


def _scaled(heading: Heading, scale: Scale | None, where: str) -> Heading:
    """Return a heading of counts with the unit that the scale gives."""
    if not heading.counts:
        return heading
    place = f"{where}, column {heading.header!r}"
    if scale is None:
        if heading.column:
            raise no_scale(heading.header, heading.column, place)
        return heading
    if not heading.column:
        return replace(heading, own_unit=scale.unit, unit_evidence=f"of counts: {scale.words}")
    return _checked(replace(heading, unit=scale.unit, evidence=f"{heading.evidence}; {scale.words}"), place)


class _Reader:
    """Understands one heading after another of one file."""

    def __init__(self, where: str, hints: Hints, labels: Collection[str]) -> None:
        self.where, self.hints, self.labels = where, hints, labels

    def heading(self, position: int, header: str, before: Sequence[Heading]) -> Heading:
        """Return what the heading says on its own, with what stands around it."""
        place = f"{self.where}, column {header or position_name(position)!r}"
        name = header.removeprefix("u_")
        if name in BENCH_NAMES and not (name != header and name in TEXT_COLUMNS):
            return self._bench_name(position, header, place)
        words, unit_text = ("", "") if header == position_name(position) else split_heading(header, place)
        told = unit_text or self.hints.row_unit(position, place).text
        column, evidence, rest, marks = self._meaning(words, before if _may_be_u(told, before) else (), place)
        if not column and (column := column_by_unit(words, told)):
            evidence = f"word {plain_words(words)!r} with such a unit"
        if not column:
            return self._unclaimed(position, header, evidence, rest, marks, unit_text, place)
        if column in TEXT_COLUMNS:
            return Heading(position, header, column, None, evidence)
        return self._claimed(position, header, column, evidence, words, marks, unit_text, place)

    def _bench_name(self, position: int, header: str, place: str) -> Heading:
        name = header.removeprefix("u_")
        column, unit_text = BENCH_NAMES[name]
        column = f"u_{column}" if name != header else column
        if column in TEXT_COLUMNS:
            return Heading(position, header, column, None, "bench name")
        if column == "time_s" and self.hints.is_clock(position):
            return Heading(position, header, column, bench_unit(column), "bench name, stamps of a clock", clock=True)
        unit = parse_unit(unit_text, place) if unit_text else bench_unit(column)
        refuse_contradiction(unit.symbol, self.hints.row_unit(position, place), column, place)
        return _checked(Heading(position, header, column, unit, "bench name"), place)

    def _meaning(self, words: str, before: Sequence[Heading], place: str) -> tuple[str, str, str, Marks]:
        """Return column ("" for none), evidence, the words without marks, and the marks."""
        column, evidence = column_of_words(words, before, place)
        named = marks_of(words, self.labels) if self.labels else (words, UNMARKED)
        if (column or not words) and not named[1].label:
            return column, evidence, words, UNMARKED
        rest, marks = marks_of(words, self.labels)
        rest = words if marks == UNMARKED else rest
        meaning = word_meaning(rest)
        if meaning in ("", UNDECIDED, *TEXT_COLUMNS):
            return "", evidence or why_not_used(rest), rest, marks
        return meaning, f"word {plain_words(rest)!r}{_marked(marks)}", rest, marks

    def _unclaimed(
        self, position: int, header: str, evidence: str, words: str, marks: Marks, unit_text: str, place: str
    ) -> Heading:
        found = Found(unit_text, "in the heading") if unit_text else self.hints.unit(position, "", words, place)
        heading = Heading(position, header, "", None, evidence, words, marks)
        if is_count_unit(found.text):
            return replace(heading, counts=True)
        if not known_unit(found.text):
            return heading
        unit = parse_unit(found.text)
        return replace(heading, own_unit=unit, unit_evidence=f"{found.text!r} {found.evidence}{_marked(marks)}")

    def _claimed(
        self,
        position: int,
        header: str,
        column: str,
        evidence: str,
        words: str,
        marks: Marks,
        unit_text: str,
        place: str,
    ) -> Heading:
        if column == "time_s" and self.hints.is_clock(position):
            return Heading(position, header, column, bench_unit(column), f"{evidence}, stamps of a clock", clock=True)
        if unit_text:
            refuse_contradiction(unit_text, self.hints.row_unit(position, place), column, place)
        found = Found(unit_text, "in the heading") if unit_text else self.hints.unit(position, column, words, place)
        if is_count_unit(found.text):
            return Heading(position, header, column, None, f"{evidence}, counts", words, marks, counts=True)
        if not found and bench_unit(column) != UNITLESS:
            raise _no_unit(column, header or words, place)
        unit = parse_unit(found.text, place) if found else UNITLESS
        if column == "rf_level_vrms" and unit.kind == "power level":
            column = "rf_level_dbm"
        column = optical_column(column, unit)
        swing = column == "rf_level_vrms" and marks.part in ("min", "max") and unit.kind == "voltage"
        said = f"unit {found.text!r} {found.evidence}" if found else "unit '' in the heading"
        heading = Heading(position, header, column, unit, f"{evidence}, {said}", words, marks, in_cells=found.in_cells)
        return replace(heading, reads="drive_v") if swing else _checked(heading, place)


def _may_be_u(unit_text: str, before: Sequence[Heading]) -> bool:
    """Return whether a unit can be that of the u of the column on the left: U (V) beside f (MHz) is a voltage."""
    if not before or before[-1].unit is None or not known_unit(unit_text):
        return True
    left = before[-1].column
    return parse_unit(unit_text).kind in (*kinds_of(left), *kinds_of(f"u_{left}"), "ratio")


def _marked(marks: Marks) -> str:
    parts = [
        f"repeat {marks.repeat}" if marks.repeat else "",
        marks.direction,
        f"line {marks.label}" if marks.label else "",
    ]
    said = ", ".join(p for p in parts if p)
    return f", {said}" if said else ""


def _no_unit(column: str, words: str, place: str) -> ReadingError:
    example = bench_unit(column).symbol
    return ReadingError(
        f"heading without a unit, and the unit decides the number of {column}", where=place, found=words,
        allowed=f"a unit in the heading, in a row below it, in the cells or above the headings, such as {example}",
        cure=f'state it in session.toml, if it is {example}: columns = {{ {column} = "{words}" }}, or with its unit in '
        f'a layout: {column} = {{ headings = ["{words}"], unit = "..." }}',
    )  # fmt: skip


def _checked(heading: Heading, place: str) -> Heading:
    """Return ``heading`` when its unit is of a kind that its column can have."""
    if heading.unit is not None and heading.unit.kind not in kinds_of(heading.column):
        to_bench(0.0, heading.unit, heading.column, place)  # raises, naming what is allowed
    return heading
