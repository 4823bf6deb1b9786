"""The layout of an export as a small TOML file beside the raw files, to be edited by hand."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping
from pathlib import Path

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.reading.layout import DATE_ORDERS, SEPARATORS, Layout, StatedColumn
from aotf_lab.reading.layout_draft import LayoutDraft
from aotf_lab.reading.layout_text import draft_text, layout_text
from aotf_lab.reading.toml_section import Section, parsed_toml
from aotf_lab.reading.units import parse_unit
from aotf_lab.reading.words import NUMBER_COLUMNS, TEXT_COLUMNS

__all__ = ["ENDING", "layout_from_bytes", "load_layout", "write_draft", "write_layout"]

ENDING = ".layout.toml"
"""How the name of a layout ends: it cannot be taken for a raw file, nor for session.toml."""

_NOT_USED = "not_used"


def load_layout(path: str | os.PathLike[str]) -> Layout:
    """Return the layout that the TOML file ``path`` states.

    Raises ``ReadingError`` that names file, section, key and value, for a file that cannot be opened,
    for text that is not TOML (with its line), unknown keys and values that are not understood.
    """
    file = Path(path)
    try:
        content = file.read_bytes()
    except OSError as error:
        raise ReadingError(
            "a layout that cannot be opened", where=file.name, found=Said(error.strerror or type(error).__name__),
            allowed=f"a readable file NAME{ENDING}",
            cure=f"check the name and the folder, or write one with 'aotf-lab layout RAWFILE --out NAME{ENDING}'",
        ) from None  # fmt: skip
    return layout_from_bytes(file.name, content)


def layout_from_bytes(name: str, content: bytes) -> Layout:
    """Return the layout that ``content``, the bytes of the file ``name``, states; raises as ``load_layout``."""
    root = Section(name, parsed_toml(name, content, ReadingError), ReadingError, "'aotf-lab layout'")
    layout = Layout(
        _encoding(root),
        root.choice("separator", tuple(SEPARATORS), None),
        root.choice("decimal_mark", (".", ","), None),
        root.text("thousands_mark", None),
        root.whole("heading_line", None),
        root.whole("units_line", None),
        root.choice("date_order", DATE_ORDERS, None),
        _skip_lines(root.section("skip_lines")),
        _columns(root.section("columns")),
        _settings(root.section("settings")),
    )
    _refuse_mark(root, layout)
    root.close()
    return layout


def _encoding(root: Section) -> str | None:
    encoding: str | None = root.text("encoding", None)
    try:
        io.TextIOWrapper(io.BytesIO(), encoding or "utf-8")  # refuses what is no text encoding
    except (LookupError, ValueError):
        raise root.refuse(
            "encoding", "no encoding of that name", "the name of a text encoding, such as utf-8, utf-16, latin-1",
            "correct it, or leave the key out to have it found",
        ) from None  # fmt: skip
    return encoding


def _refuse_mark(root: Section, layout: Layout) -> None:
    mark = layout.thousands_mark
    if mark and (len(mark) > 1 or mark.isalnum() or mark in "+-" or mark == layout.decimal_mark):
        raise root.refuse(
            "thousands_mark", "no mark between groups of digits",
            '"" for none, or one character such as "," " " "\'", other than the decimal mark',
            "correct it, or leave the key out to have it found",
        )  # fmt: skip


def _skip_lines(section: Section) -> Mapping[int, str]:
    lines = {}
    for key in section.keys:
        reason = section.text(key, "")
        if not (key.isascii() and key.isdigit()) or key.startswith("0"):
            raise section.refuse(
                key, "not the number of a line", "whole numbers from 1", 'write 17 = "why it is no reading"'
            )
        lines[int(key)] = reason
    return lines


def _columns(section: Section) -> Mapping[str, StatedColumn]:
    stated = {}
    for column in section.keys:
        if column != _NOT_USED and column not in TEXT_COLUMNS and column.removeprefix("u_") not in NUMBER_COLUMNS:
            raise section.refuse(
                column, "something that no column can mean",
                ", ".join((*NUMBER_COLUMNS, *TEXT_COLUMNS, _NOT_USED)) + ", and u_ before a number",
                "correct the name",
            )  # fmt: skip
        stated[column] = _column(section, column)
    return stated


def _column(section: Section, column: str) -> StatedColumn:
    if not section.is_section(column):
        return StatedColumn(section.texts(column))
    inner = section.section(column)
    headings, unit = inner.texts("headings"), inner.text("unit", "")
    inner.close()
    if unit:
        try:
            parse_unit(unit)
        except ReadingError as error:
            raise inner.refuse("unit", error.what, error.allowed, error.cure) from None
    return StatedColumn(headings, unit)


def _settings(section: Section) -> Mapping[str, str]:
    return {key: section.text(key, "") for key in section.keys}


def write_layout(path: str | os.PathLike[str], layout: Layout) -> None:
    """Write the layout to ``path`` (NAME.layout.toml), whole or not at all; only a layout is ever replaced.

    Raises ``ReadingError`` for another ending, for a file there that is no layout, for a folder that
    cannot be written, and for a layout that ``load_layout`` would refuse.
    """
    _write(path, layout_text(layout))


def write_draft(path: str | os.PathLike[str], draft: LayoutDraft, error: ReadingError) -> None:
    """Write what is known of the layout of a file that ``error`` keeps from being read; raises as ``write_layout``."""
    _write(path, draft_text(draft, error))


def _write(path: str | os.PathLike[str], text: str) -> None:
    target = Path(path)
    if not target.name.endswith(ENDING):
        raise ReadingError(
            "a layout under a name that could be a raw file's", found=target.name, allowed=f"NAME{ENDING}",
            cure=f"write it to {target.name.split('.')[0] or 'export'}{ENDING}",
        )  # fmt: skip
    layout_from_bytes(target.name, text.encode())
    if target.exists():
        _refuse_other(target)
    try:
        write_text_atomically(target, text)
    except OSError as error:
        raise ReadingError(
            "a layout that cannot be written", where=target.name, found=Said(error.strerror or type(error).__name__),
            allowed="a folder in which files may be made", cure="name another folder; nothing was written",
        ) from None  # fmt: skip


def _refuse_other(target: Path) -> None:
    try:
        load_layout(target)
    except ReadingError as error:
        raise ReadingError(
            "a layout would overwrite what is no layout", where=target.name, found=Said(str(error)),
            allowed="a new name, or that of a layout that can be read", cure="name another; nothing was written",
        ) from None  # fmt: skip
