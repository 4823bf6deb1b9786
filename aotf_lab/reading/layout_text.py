"""A layout as the text of its TOML file, with a comment on each key; and that of one which a person has to finish."""

from __future__ import annotations

from collections.abc import Iterator

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import DATE_ORDERS, SEPARATORS, Layout, StatedColumn
from aotf_lab.reading.layout_draft import LayoutDraft

__all__ = ["draft_text", "layout_text"]

_HEAD = """\
# How the files of one export are read. Whatever is left out, or stays behind a #, is found from the
# file itself; what stands here is taken as stated. The raw file is never changed.
"""
_TO_FINISH = (
    "Decide what stays behind a # below (heading_line, separator, columns, whichever the error names), and remove its "
    '#; ... is a column without a meaning yet, for one without headings write "column 1", "column 2".'
)
_NOTHING = Layout()
_KEYS = (
    ("encoding", '"utf-8"', 'such as "utf-8", "utf-16", "latin-1"'),
    ("separator", '"comma"', f"between cells: {', '.join(SEPARATORS)}"),
    ("decimal_mark", '"."', '"." or ","'),
    ("thousands_mark", '""', 'between groups of three digits, "" for none'),
    ("heading_line", "1", "line of the headings, counted from 1; 0 for none"),
    ("units_line", "0", "line of the units, where they have a line of their own; 0 for none"),
    ("date_order", '"day first"', f"of dates such as 03/04/2025: {', '.join(DATE_ORDERS)}"),
)
"""Key, an example of its value, what it says."""

_SKIP = """
# Lines that are no readings: number of the line = reason. Example: 17 = "shutter closed"
[skip_lines]
"""
_COLUMNS = """
# What the headings mean: column = "heading", or a list of headings for repeated readings of one column,
# or with a unit that the file does not state: drive_v = { headings = ["Set"], unit = "mV" }
# Headings to pass over: not_used = ["Note", "Operator"]
[columns]
"""
_SETTINGS = """
# Replaces what the lines above the headings say: key = "value with its unit". Example: "sample interval" = "0.5 s"
[settings]
"""


def layout_text(layout: Layout) -> str:
    """Return the layout as TOML with a comment on each key; what it leaves open stands there behind a ``#``.

    >>> print(layout_text(Layout(decimal_mark=",")).splitlines()[5])
    decimal_mark = ","           # "." or ","
    """
    return "\n".join(_lines(layout)) + "\n"


def draft_text(draft: LayoutDraft, error: ReadingError) -> str:
    """Return the layout of a file that cannot be read: the error above it, what is open behind a ``#``."""
    first = [f"  line {number}: {line}" for number, line in draft.first]
    said = ["NOT FINISHED: the file cannot be read with this layout yet.", str(error), *first, _TO_FINISH]
    text = "\n".join(_lines(draft.layout, draft.likely))
    asked = [f"{name or '...'} = {_toml(heading)}" for name, heading in draft.headings]
    head, columns, settings = text.partition(_SETTINGS.rstrip("\n"))
    return "\n".join([*map(_comment, said), "", head + "\n".join(map(_comment, asked)), columns + settings, ""])


def _comment(text: str) -> str:
    return "# " + "".join(c if c.isprintable() else _escaped(c) for c in text)


def _lines(layout: Layout, likely: Layout = _NOTHING) -> Iterator[str]:
    yield _HEAD
    for key, usual, comment in _KEYS:
        value, guess = getattr(layout, key), getattr(likely, key)
        example = usual if guess is None else _toml(guess)
        shown = f"# {key} = {example}" if value is None else f"{key} = {_toml(value)}"
        yield f"{shown:<28} # {comment}"
    yield _SKIP.rstrip("\n")
    yield from (f"{line} = {_toml(reason)}" for line, reason in layout.skip_lines.items())
    yield _COLUMNS.rstrip("\n")
    yield from (f"{column} = {_stated(stated)}" for column, stated in layout.columns.items())
    yield _SETTINGS.rstrip("\n")
    yield from (f"{_toml(key)} = {_toml(value)}" for key, value in layout.settings.items())


def _stated(column: StatedColumn) -> str:
    few = [_toml(heading) for heading in column.headings]
    headings = few[0] if len(few) == 1 else f"[{', '.join(few)}]"
    return f"{{ headings = {headings}, unit = {_toml(column.unit)} }}" if column.unit else headings


def _toml(value: str | int) -> str:
    """Return ``value`` as TOML writes it; what a person could not see or type is escaped."""
    if isinstance(value, int):
        return str(value)
    return '"' + "".join(_escaped(c) for c in value) + '"'


def _escaped(character: str) -> str:
    if character in '"\\':
        return f"\\{character}"
    if character.isprintable():
        return character
    code = ord(character)
    return {"\t": "\\t", "\n": "\\n"}.get(character, f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}")
