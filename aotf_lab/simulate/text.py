"""A table of readings as the text of a raw file."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

__all__ = ["Column", "csv_text"]

Column = tuple[str, str, float, int]
"""Heading, column of the table, factor from bench unit to heading's unit, decimals shown."""


def csv_text(note: str, table: pd.DataFrame, columns: Sequence[Column]) -> str:
    """Return the raw file: the note, the headings, and a row for each of ``table``."""
    rows = [",".join(heading for heading, *_ in columns)]
    for _, row in table.iterrows():
        rows.append(",".join(_cell(row[column], factor, decimals) for _, column, factor, decimals in columns))
    return "\n".join((f"# {note}", *rows, ""))


def _cell(value: float | str, factor: float, decimals: int) -> str:
    return value if isinstance(value, str) else f"{value * factor:.{decimals}f}"
