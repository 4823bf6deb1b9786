"""From the bytes of a raw file to its heading row and its rows of text, each with its line."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass

from aotf_lab.errors import ReadingError, Said

__all__ = ["RawRow", "RawText", "raw_text"]

_GROUPED = re.compile(r"^[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+$")
_WITH_COMMA = re.compile(r"^[+-]?[0-9]*,[0-9,.]*(?:[eE][+-]?[0-9]+)?$")
_WITH_POINT = re.compile(r"^[+-]?[0-9]*\.[0-9]*(?:[eE][+-]?[0-9]+)?$")


@dataclass(frozen=True)
class RawRow:
    """One row: its 1-based line, its text as it stands, and its cells without outer blanks."""

    line: int
    text: str
    cells: tuple[str, ...]


@dataclass(frozen=True)
class RawText:
    """A file split into cells. ``decimal_comma`` is true where 1,5 means one and a half."""

    header: RawRow
    rows: tuple[RawRow, ...]
    delimiter: str
    decimal_comma: bool


def raw_text(name: str, content: bytes) -> RawText:
    """Return the cells of the file ``name``, whose bytes are ``content``.

    UTF-8 with or without byte order mark; comma, or semicolon, between cells; blank lines and
    lines that start with ``#`` are passed over. Raises ``ReadingError`` for another encoding, an
    empty file, a file without a row below its headings, a row with too few or too many cells, and
    for commas that may be decimal or may group digits.
    """
    lines = [(n, t) for n, t in _lines(name, content) if t.strip() and not t.lstrip().startswith("#")]
    if not lines:
        raise ReadingError(
            "empty file", where=name, found=Said(f"{len(content)} bytes, no heading and no row"),
            allowed="a heading row and at least one row of readings", cure="save the readings again",
        )  # fmt: skip
    delimiter = _delimiter(f"{name}:{lines[0][0]}", [t for _, t in lines[:2]])
    header = _row(name, *lines[0], delimiter)
    rows = tuple(r for r in (_row(name, n, t, delimiter) for n, t in lines[1:]) if any(r.cells))
    if not rows:
        raise ReadingError(
            "headings without readings", where=f"{name}:{header.line}", found=header.text,
            allowed="at least one row below the headings", cure="save the readings again, or leave the file out",
        )  # fmt: skip
    for row in rows:
        _refuse_ragged(name, header, row)
    return RawText(header, rows, delimiter, delimiter == ";" and _decimal_comma(name, rows))


def _lines(name: str, content: bytes) -> Iterator[tuple[int, str]]:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise ReadingError(
            "text that is not UTF-8", where=f"{name}:{line}", found=Said(f"byte 0x{content[error.start]:02x}"),
            allowed="UTF-8, with or without byte order mark", cure="save the file as 'CSV UTF-8'",
        ) from error  # fmt: skip
    return enumerate(re.split(r"\r\n|\n|\r", text), start=1)


def _delimiter(where: str, first_two: list[str]) -> str:
    """Return the character between cells, from the heading and the row below it."""
    outside = [re.sub(r'"[^"]*"', "", line) for line in first_two]
    if ";" in outside[0] and outside[0].count(";") == outside[-1].count(";"):
        return ";"
    if "\t" in outside[0] and not set(",;") & set(outside[0]):
        raise ReadingError(
            "tabs between the cells", where=where, found=first_two[0],
            allowed="a comma, or a semicolon, between cells", cure="save the file as CSV with commas",
        )  # fmt: skip
    return ","


def _row(name: str, line: int, text: str, delimiter: str) -> RawRow:
    try:
        cells = next(csv.reader([text], delimiter=delimiter, strict=True, skipinitialspace=True))
    except csv.Error as error:
        raise ReadingError(
            f"quotation marks that do not close on their line ({error})", where=f"{name}:{line}", found=text,
            allowed='a cell on one line, either plain or wholly in "..."', cure="correct the line",
        ) from error  # fmt: skip
    return RawRow(line, text, tuple(cell.strip() for cell in cells))


def _refuse_ragged(name: str, header: RawRow, row: RawRow) -> None:
    wanted, found = len(header.cells), len(row.cells)
    if found == wanted:
        return
    hint = "a decimal comma must be a point, or its cell stand in quotation marks with semicolons between cells"
    raise ReadingError(
        f"{found} cells below {wanted} headings", where=f"{name}:{row.line}", found=row.text,
        allowed=f"{wanted} cells, empty ones included",
        cure=f"correct the line; {hint}" if found > wanted else "correct the line, with a comma for each empty cell",
    )  # fmt: skip


def _decimal_comma(name: str, rows: tuple[RawRow, ...]) -> bool:
    """Return whether commas in the cells are decimal; refuse what could be read either way."""
    cells = [(row, cell) for row in rows for cell in row.cells]
    commas = [(row, cell) for row, cell in cells if _WITH_COMMA.match(cell)]
    if not commas:
        return False
    points = [(row, cell) for row, cell in cells if _WITH_POINT.match(cell)]
    mixed = [(row, cell) for row, cell in commas if "." in cell or cell.count(",") > 1]
    doubt = points[:1] or mixed[:1] or (commas[:1] if all(_GROUPED.match(c) for _, c in commas) else [])
    if doubt:
        row, cell = doubt[0]
        why = "points as well as commas in numbers" if points or mixed else "every comma could group thousands"
        raise ReadingError(
            f"decimal mark in doubt: {why}", where=f"{name}:{row.line}", found=cell,
            allowed="one decimal mark for the whole file, and no mark between thousands",
            cure="save the file with decimal points",
        )  # fmt: skip
    return True
