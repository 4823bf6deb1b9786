"""A raw file split into cells: what stands above the headings, the headings, and the rows."""

from __future__ import annotations

from dataclasses import dataclass

from aotf_lab.reading.receipt import FlaggedRow, RejectedRow

__all__ = ["Grid", "RawRow", "TextForm"]


@dataclass(frozen=True)
class RawRow:
    """One row: its 1-based (first) line, its text as it stands, and its cells without outer blanks or quotes."""

    line: int
    text: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class TextForm:
    """How the bytes were taken apart. Each ``..._evidence`` says on what ground.

    ``separator`` is a key of ``layout.SEPARATORS`` (one column: "comma"). ``decimal_mark`` is "." or ",".
    ``thousands_marks`` are the characters that may stand between groups of three digits, "" for none.
    """

    encoding: str
    encoding_evidence: str
    separator: str
    separator_evidence: str
    decimal_mark: str
    decimal_evidence: str
    thousands_marks: str = ""


@dataclass(frozen=True)
class Grid:
    """A raw file in cells.

    ``preamble`` holds every line above the headings that is not blank, comment marks (``#``) taken off,
    split into key and value at the separator, ``:`` or ``=`` (cells); ``titles`` is a row right above the
    headings that names groups of columns, ``header`` the heading row (None: the file has none),
    ``units`` a row of units below it. Every row of ``rows`` has as many cells as the heading row.
    ``rejected`` are the lines below the headings that are no readings (summary, repeated headings,
    skipped by the layout), ``flagged`` those kept in doubt, ``notes`` what else was noticed.
    """

    name: str
    form: TextForm
    preamble: tuple[RawRow, ...]
    titles: RawRow | None
    header: RawRow | None
    units: RawRow | None
    rows: tuple[RawRow, ...]
    rejected: tuple[RejectedRow, ...] = ()
    flagged: tuple[FlaggedRow, ...] = ()
    notes: tuple[str, ...] = ()
