"""The rows below the headings: which are readings, which are none, and which cannot be told."""

from __future__ import annotations

import re
from collections.abc import Sequence

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.receipt import RejectedRow
from aotf_lab.reading.text.cells import WIDE, dittos_of
from aotf_lab.reading.text.furniture import is_rule, is_units_row, summary_reason
from aotf_lab.reading.text.grid import RawRow
from aotf_lab.reading.text.heading import Frame
from aotf_lab.reading.text.kinds import has_reading, kind_of, kinds_in
from aotf_lab.reading.text.search import heading_words

__all__ = ["no_readings", "sort_rows"]

_DIGIT = re.compile("[0-9]")


def sort_rows(
    name: str, rows: Sequence[RawRow], frame: Frame, separator: str, broken: dict[int, str]
) -> tuple[list[RawRow], list[RejectedRow]]:
    """Return the readings among the ``rows`` below the headings, and the rows that are none.

    Every reading has as many cells as the headings. Raises ``ReadingError`` for a ragged row, for a second
    row of headings or units that says something else, and for quotation marks that do not close
    (``broken``: line -> why).
    """
    end, rejected = _without_summary(rows, frame.width)
    kept: list[RawRow] = []
    header = frame.header.cells if frame.header else None
    width = frame.width
    for row in rows[:end]:
        fitted = row if len(row.cells) == width else _fit(name, row, frame, separator, broken)
        if fitted is None:
            reason = "a line of dashes" if is_rule(row) else "text without a number among the readings"
            rejected.append(RejectedRow(row.line, row.text, reason))
        elif fitted.cells == header:
            rejected.append(RejectedRow(row.line, row.text, "the headings again"))
        elif not _DIGIT.search(row.text) and (reason := _without_digits(name, fitted, frame)):
            rejected.append(RejectedRow(row.line, row.text, reason))
        else:
            kept.append(fitted)
    return kept, sorted(rejected, key=lambda r: r.line)


def _without_summary(rows: Sequence[RawRow], width: int) -> tuple[int, list[RejectedRow]]:
    """Return where the readings end, and the summary below them."""
    end = len(rows)
    rejected = []
    labels = kind_of(next((cell for cell in rows[0].cells[:1]), "")) == "text"
    while end and rows[end - 1].cells:
        row = rows[end - 1]
        reason = summary_reason(row, width, labels=labels)
        if not reason:
            break
        rejected.append(RejectedRow(row.line, row.text, reason))
        end -= 1
    return end, rejected


def _without_digits(name: str, row: RawRow, frame: Frame) -> str:
    """Return why a row without any digit is no reading, "" when it may be one (marks, words)."""
    if is_rule(row):
        return "a line of dashes"
    header = frame.header.cells if frame.header else ()
    if header and [c.casefold() for c in row.cells] == [c.casefold() for c in header]:
        return "the headings again"
    if is_units_row(row.cells):
        if frame.units and row.cells == frame.units.cells:
            return "the units again"
        raise _second(name, row, "units", frame.units.text if frame.units else "none below the headings")
    if heading_words(row.cells) * 2 > len(row.cells) and not has_reading(kinds_in(row.cells)):
        raise _second(name, row, "headings", frame.header.text if frame.header else "none")
    filled = [cell for cell in row.cells if cell]
    alone = len(filled) == 1 < len(row.cells) and kind_of(filled[0]) == "text"
    return "text without a number among the readings" if alone else ""


def _second(name: str, row: RawRow, what: str, first: str) -> ReadingError:
    return ReadingError(
        f"a second row of {what} that differs from the first", where=f"{name}:{row.line}", found=row.text,
        allowed=f"the same {what} for the whole file: {first}",
        cure="read the two parts apart: pass the lines of the other part over with skip_lines in a layout",
    )  # fmt: skip


def _fit(name: str, row: RawRow, frame: Frame, separator: str, broken: dict[int, str]) -> RawRow | None:
    """Return the row with as many cells as the headings, None for a line of dashes or of plain text."""
    width = frame.width
    dittos = dittos_of(row.text, separator) if '"' in row.text else None
    if dittos is not None and len(dittos) == width:
        return RawRow(row.line, row.text, dittos)
    if row.line in broken:
        raise ReadingError(
            f"quotation marks that do not close on their line ({broken[row.line]})", where=f"{name}:{row.line}",
            found=row.text, allowed='a cell either plain or wholly in "..."', cure=_pass_over(row.line),
        )  # fmt: skip
    if len(row.cells) > width and not any(row.cells[width:]):
        return RawRow(row.line, row.text, row.cells[:width])
    if is_rule(row) or (len(row.cells) == 1 and not _DIGIT.search(row.text)):
        return None
    found = len(row.cells)
    below = f"{width} headings" if frame.header else f"rows of {width} cells"
    hint = "; a decimal comma between commas can only be told where its cell stands in quotation marks"
    if separator in ("blanks", WIDE):
        hint = "; blanks between cells cannot show an empty one"
    raise ReadingError(
        f"{found} cells below {below}", where=f"{name}:{row.line}", found=row.text,
        allowed=f"{width} cells, empty ones included",
        cure=_pass_over(row.line) + (hint if found > width or separator in ("blanks", WIDE) else ""),
    )  # fmt: skip


def _pass_over(line: int) -> str:
    return f'if it is no reading, pass line {line} over in a layout: skip_lines = {{ {line} = "reason" }}'


def no_readings(name: str, rows: Sequence[RawRow], size: int) -> ReadingError:
    """Return the error for a file without a row of numbers: empty, or headings alone."""
    if not rows:
        return ReadingError(
            "empty file", where=name, found=Said(f"{size} bytes, no heading and no row"),
            allowed="a heading row and at least one row of readings", cure="save the readings again",
        )  # fmt: skip
    heading = max(rows, key=lambda row: heading_words(row.cells))
    return ReadingError(
        "headings without readings", where=f"{name}:{heading.line}", found=heading.text,
        allowed="at least one row below the headings", cure="save the readings again, or leave the file out",
    )  # fmt: skip
