"""From the bytes of a raw file to a grid of cells, with the evidence for each step; nothing is understood yet."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from itertools import pairwise

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.receipt import FlaggedRow, RejectedRow
from aotf_lab.reading.text.body import no_readings, sort_rows
from aotf_lab.reading.text.cells import WIDE, cells_of
from aotf_lab.reading.text.decimal_mark import find_decimal_mark
from aotf_lab.reading.text.decode import decode
from aotf_lab.reading.text.foreign import refuse_foreign_bytes, refuse_foreign_text
from aotf_lab.reading.text.grid import Grid, RawRow, TextForm
from aotf_lab.reading.text.heading import Frame
from aotf_lab.reading.text.kinds import has_reading, kinds_in
from aotf_lab.reading.text.lines import Line, comment_of, lines_of, without_remark
from aotf_lab.reading.text.preamble import preamble_row
from aotf_lab.reading.text.search import heading_words
from aotf_lab.reading.text.separators import find_separator, spoken
from aotf_lab.reading.text.stated import stated_frame

__all__ = ["split"]

_NOTHING_STATED = Layout()


def split(name: str, content: bytes, layout: Layout = _NOTHING_STATED) -> Grid:
    """Return the cells of the file ``name``, whose bytes are ``content``.

    Encoding, separator, decimal mark and the place of the headings are those that ``layout`` states, else
    those that the file itself decides. Raises ``ReadingError`` for a file that is no table of text, for an
    empty one, one without readings, a ragged row, and for everything that could be read in two ways.

    >>> grid = split("log.csv", b"Probe: 10x\\nDrive (V);Counter (MHz)\\n1,5;48,25\\n")
    >>> grid.form.separator, grid.form.decimal_mark, grid.header.cells, grid.rows[0].cells
    ('semicolon', ',', ('Drive (V)', 'Counter (MHz)'), ('1,5', '48,25'))
    """
    refuse_foreign_bytes(name, content)
    text, encoding, encoding_evidence = decode(name, content, layout.encoding)
    refuse_foreign_text(name, text)
    found = lines_of(text)
    apart = [without_remark(line) for line in found.lines if line.number not in layout.skip_lines]
    taken, remarks = [line for line, _ in apart], {line.number: said for line, said in apart if said}
    separator, separator_evidence = find_separator(name, taken, layout.separator)
    if remarks and separator in ("blanks", WIDE):  # what a blank sets apart may be a cell of its own
        taken, remarks = [line for line in found.lines if line.number not in layout.skip_lines], {}
    rows, comments, broken = _parted(taken, separator)
    frame = stated_frame(name, rows, comments, separator, layout)
    if frame is None or frame.first >= len(rows):
        raise no_readings(name, rows, len(content))
    kept, rejected = sort_rows(name, rows[frame.first :], frame, separator, broken)
    if not kept:
        raise no_readings(name, rows, len(content))
    if frame.header is not None and layout.heading_line is None:
        _refuse_other_headings(name, frame.header, rows[frame.first :], kept[0].line)
    told = frame.header is not None and not has_reading(kinds_in(frame.header.cells))
    if not told and separator == "comma" and not layout.columns:
        _refuse_torn(name, kept)
    surplus = [*_surplus(rows, kept, frame.width), *_remarked(kept, remarks)]
    frame, kept = _without_empty_end(frame, kept)
    preamble = _preamble(frame, rows, comments, separator)
    mark = find_decimal_mark(name, kept, preamble, separator, layout)
    skipped = [
        RejectedRow(line.number, line.text, layout.skip_lines[line.number])
        for line in found.lines
        if line.number in layout.skip_lines
    ]
    form = TextForm(
        encoding, encoding_evidence, spoken(separator), separator_evidence, mark.mark, mark.evidence, mark.thousands
    )
    return Grid(
        name, form, preamble, frame.titles, frame.header, frame.units, tuple(kept),
        tuple(sorted([*rejected, *skipped, *_readings_above(frame, rows, kept)], key=lambda r: r.line)),
        tuple(sorted([*mark.doubted, *surplus, *_cut_row(kept, taken, found.cut)], key=lambda f: f.line)),
        (*found.notes, *_comment_notes(kept[0].line, comments), *_skip_notes(layout, skipped)),
    )  # fmt: skip


def _parted(lines: Sequence[Line], separator: str) -> tuple[list[RawRow], list[RawRow], dict[int, str]]:
    """Return the rows, the comments (their cells without the mark), and line -> why for rows that do not split."""
    rows: list[RawRow] = []
    comments: list[RawRow] = []
    broken: dict[int, str] = {}
    for line in lines:
        said = comment_of(line.text, separator)
        try:
            cells = cells_of(line.text if said is None else said, separator)
        except csv.Error as error:
            cells = ()
            if said is None:
                broken[line.number] = str(error)
        if said is not None:
            comments.append(RawRow(line.number, line.text, cells))
        elif any(cells) or line.number in broken:
            rows.append(RawRow(line.number, line.text, cells))
    return rows, comments, broken


def _refuse_other_headings(name: str, header: RawRow, below: Sequence[RawRow], first: int) -> None:
    """Raise ``ReadingError`` for a heading of another number of cells between the headings and the first reading."""
    for row in below:
        if row.line < first and len(row.cells) < len(header.cells) and heading_words(row.cells):
            raise ReadingError(
                "a row that could be the headings, and others above it", where=f"{name}:{row.line}", found=row.text,
                allowed=f"one row of headings; line {header.line} has {len(header.cells)} cells as the readings do",
                cure=f"state in a layout heading_line = {header.line}, or another separator: a decimal comma may stand "
                'in the readings (separator = "semicolon")',
            )  # fmt: skip


def _refuse_torn(name: str, kept: Sequence[RawRow]) -> None:
    """Raise ``ReadingError`` where the comma of "1,5 V" may be decimal, and no headings count the cells."""
    for row in kept:
        for left, right in pairwise(row.cells):
            if re.fullmatch("[0-9]+", left) and re.fullmatch(r"[0-9]+ ?[^0-9\s.,;:]+", right):
                raise ReadingError(
                    "commas that may be decimal or stand between cells, and no headings", where=f"{name}:{row.line}",
                    found=row.text, allowed="headings above the readings, or decimal points",
                    cure='state in a layout what each column is: columns, by the names "column 1", "column 2"',
                )  # fmt: skip


def _surplus(rows: Sequence[RawRow], kept: Sequence[RawRow], width: int) -> list[FlaggedRow]:
    """Return the few readings that have a separator too many at their end, where most have none."""
    wide = {row.line for row in rows if len(row.cells) > width}
    odd = [row for row in kept if row.line in wide]
    reason = "a separator behind the last cell, as in few other rows: a sign may be lost or changed"
    return [FlaggedRow(row.line, row.text, reason) for row in odd] if 2 * len(odd) < len(kept) else []


def _remarked(kept: Sequence[RawRow], remarks: dict[int, str]) -> list[FlaggedRow]:
    said = [(row, remarks[row.line]) for row in kept if row.line in remarks] if remarks else []
    return [FlaggedRow(row.line, row.text, f"a remark beside the reading: {remark!r}") for row, remark in said]


def _without_empty_end(frame: Frame, kept: list[RawRow]) -> tuple[Frame, list[RawRow]]:
    """Return both without the last column when nothing stands in it: a separator at every line end."""
    width = frame.width - 1
    over = [row for row in (frame.titles, frame.header, frame.units) if row is not None]
    if width < 1 or frame.header is None or any(row.cells[width:] != ("",) for row in [*over, *kept]):
        return frame, kept
    titles, header, units = (_cut(row, width) for row in (frame.titles, frame.header, frame.units))
    rows = [RawRow(row.line, row.text, row.cells[:width]) for row in kept]
    return Frame(titles, header, units, frame.first, width, frame.evidence), rows


def _cut(row: RawRow | None, width: int) -> RawRow | None:
    return RawRow(row.line, row.text, row.cells[:width]) if row else None


def _preamble(frame: Frame, rows: Sequence[RawRow], comments: Sequence[RawRow], separator: str) -> tuple[RawRow, ...]:
    used = {row.line for row in (frame.titles, frame.header, frame.units) if row is not None}
    first = rows[frame.first].line
    above = [row for row in (*rows[: frame.first], *comments) if row.line < first and row.line not in used]
    return tuple(
        preamble_row(row.line, row.text, comment_of(row.text, separator) or row.text, separator)
        for row in sorted(above, key=lambda row: row.line)
    )


def _readings_above(frame: Frame, rows: Sequence[RawRow], kept: Sequence[RawRow]) -> list[RejectedRow]:
    """Return the rows above the headings that look like those below: of a table whose headings are not known."""
    if frame.header is None:
        return []
    like = {kinds_in(row.cells) for row in kept}

    def alike(kinds: tuple[str, ...]) -> bool:
        """Return whether some reading has these kinds, empty cells of either aside."""
        return kinds in like or any(
            len(k) == len(kinds)
            and has_reading(kinds)
            and all(a == b or "empty" in (a, b) for a, b in zip(k, kinds, strict=True))
            for k in like
        )

    return [
        RejectedRow(row.line, row.text, f"a row like the readings, above the headings in line {frame.header.line}")
        for row in rows[: frame.first]
        if row.line < frame.header.line
        and row != frame.titles
        and (alike(kinds_in(row.cells)) or _begins_as_reading(row, frame.width))
    ]


def _begins_as_reading(row: RawRow, width: int) -> bool:
    return len(row.cells) == width > 1 and kinds_in(row.cells[:1])[0] in ("number", "clock")


def _cut_row(kept: Sequence[RawRow], lines: Sequence[Line], cut: bool) -> tuple[FlaggedRow, ...]:
    last = kept[-1]
    if not cut or last.line != lines[-1].number:
        return ()
    return (FlaggedRow(last.line, last.text, "the last line has no line end, it may be cut off"),)


def _comment_notes(first: int, comments: Sequence[RawRow]) -> tuple[str, ...]:
    below = [str(comment.line) for comment in comments if comment.line >= first]
    if not below:
        return ()
    shown = ", ".join(below[:10]) + (", ..." if len(below) > 10 else "")
    return (f"comments among the readings passed over: line{'s' * (len(below) > 1)} {shown}",)


def _skip_notes(layout: Layout, skipped: Sequence[RejectedRow]) -> tuple[str, ...]:
    missing = sorted(set(layout.skip_lines) - {row.line for row in skipped})
    return tuple(f"line {line} in skip_lines of the layout is blank or not there" for line in missing)
