"""What every reader returns and every ``fit_...`` takes: a table with its errors and its origin."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.causes import CommonError
from aotf_lab.given import given
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.source import SourceFile

__all__ = ["Readings", "as_readings", "join_readings"]


@dataclass(frozen=True)
class Readings:
    """One table of readings in bench units.

    ``table`` has a row per reading. Value columns are named as in ``quantities.py``; the random
    standard uncertainty of column ``x`` stands in ``u_x`` (NaN where nobody knows it). The columns
    ``file`` and ``line`` (1-based line in the raw file) name each row's origin. ``common`` holds
    the errors that all rows share, ``receipts`` how each file was understood, ``sources`` the
    files with their hash.
    """

    table: pd.DataFrame
    common: tuple[CommonError, ...] = ()
    receipts: tuple[Receipt, ...] = ()
    sources: tuple[SourceFile, ...] = ()

    def _repr_html_(self) -> str:
        return str(self.table.to_html(max_rows=12)) + "".join(r._repr_html_() for r in self.receipts)

    def common_errors(self, column: str) -> tuple[CommonError, ...]:
        """Return the shared errors of ``column``."""
        return tuple(e for e in self.common if e.column == column)

    def place(self, row: int) -> str:
        """Return ``file:line`` of the row at position ``row``, or ``row N`` when it has no file."""
        return self.places[row]

    @cached_property
    def places(self) -> tuple[str, ...]:
        """``place`` of every row."""
        if {"file", "line"} <= set(self.table.columns):
            return tuple(f"{f}:{n}" for f, n in zip(self.table["file"], self.table["line"], strict=True))
        return tuple(f"row {k + 1}" for k in range(len(self.table)))

    @cached_property
    def shown(self) -> dict[str, frozenset[int]]:
        """The numbers of single columns, as bits, kept as they are asked for."""
        return {}

    @property
    def headings_place(self) -> str:
        """``file:line`` of the headings of the last file read, the file alone where they are not known."""
        receipt = self.receipts[-1]
        line = receipt.layout.heading_line if receipt.layout is not None else None
        return f"{receipt.file}:{line or 1}" if line is not None else receipt.file

    def require(self, *columns: str) -> None:
        """Raise ``ReadingsError`` when a column is missing or the table is empty."""
        for column in columns:
            if column not in self.table.columns:
                raise ReadingsError(
                    f"no column {column!r} in these readings",
                    where=", ".join(s.name for s in self.sources),
                    found=Said(", ".join(map(str, self.table.columns))),
                    allowed=f"a column that means {column}",
                    cure="name it in the header, or map it under [[file]] columns in session.toml",
                )
        if self.table.empty:
            raise ReadingsError(
                "no readings at all",
                where=", ".join(s.name for s in self.sources),
                found=0,
                allowed="at least one row",
                cure="measure, or check that the right file is named",
            )


def as_readings(readings: Readings | pd.DataFrame) -> Readings:
    """Return ``readings`` itself, or a bare table (bench-unit column names) wrapped up.

    Raises ``AotfLabError`` for anything else, such as a path.
    """
    if isinstance(readings, Readings):
        return readings
    allowed = "what a reader returned, or a DataFrame with columns in bench units"
    cure = "read the file first, as read_table(path) does, or make it a DataFrame"
    return Readings(given(readings, pd.DataFrame, "readings", allowed, cure).reset_index(drop=True))


def join_readings(parts: Iterable[Readings]) -> Readings:
    """Return the rows of all ``parts`` in order, with every shared error kept once.

    Raises ``ReadingsError`` when there is no part.
    """
    kept = list(parts)
    if not kept:
        raise ReadingsError("nothing to join", found=0, allowed="one table or more", cure="name the files to read")
    common: dict[tuple[str, str, int], CommonError] = {}
    for part in kept:
        for error in part.common:
            common[(error.name, error.column, id(error.variable))] = error
    return Readings(
        pd.concat([p.table for p in kept], ignore_index=True),
        tuple(common.values()),
        tuple(r for p in kept for r in p.receipts),
        tuple(s for p in kept for s in p.sources),
    )
