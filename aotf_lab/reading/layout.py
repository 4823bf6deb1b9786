"""The layout of an export: what a person may state about a raw file instead of having it found.

A layout is edited by hand, kept beside the raw files, and makes the next reading of the same
export one call: ``read_counter("next.csv", layout=load_layout("counter.layout.toml"))``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["DATE_ORDERS", "SEPARATORS", "Layout", "StatedColumn"]

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blanks": " "}
"""Spoken name of a separator -> the character; "blanks" is one blank or more."""

DATE_ORDERS = ("day first", "month first", "year first")


@dataclass(frozen=True)
class StatedColumn:
    """Headings that hold one column (several: repeated readings), and their unit, "" where the file says it."""

    headings: tuple[str, ...]
    unit: str = ""


@dataclass(frozen=True)
class Layout:
    """What is stated about an export; None (or nothing) where it is to be found from the file.

    ``separator`` is a key of ``SEPARATORS``; ``decimal_mark`` "." or ","; ``thousands_mark`` "" for
    none, else the mark; ``heading_line`` and ``units_line`` 1-based lines, 0 for none; ``skip_lines``
    1-based line -> the reason why it is not a reading; ``date_order`` one of "day first", "month first",
    "year first"; ``columns`` column name (or "not_used") -> its headings; ``settings`` replaces what the
    lines above the headings say: key -> value with its unit, such as "sample interval" -> "0.5 s".
    """

    encoding: str | None = None
    separator: str | None = None
    decimal_mark: str | None = None
    thousands_mark: str | None = None
    heading_line: int | None = None
    units_line: int | None = None
    date_order: str | None = None
    skip_lines: Mapping[int, str] = field(default_factory=dict)
    columns: Mapping[str, StatedColumn] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)
