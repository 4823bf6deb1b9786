"""From text to its lines: CR, LF and CRLF, blank lines left out, a quoted cell that spans lines kept whole."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["Line", "Lines", "comment_of", "lines_of", "without_remark"]

_LONGEST_CELL = 20
"""A quoted cell spans at most this many lines; a mark that closes later is a stray one."""

_OPENS = re.compile(r'(?:^|[,;\t|])[ ]*"')
_LONE = re.compile(r'(?:^|(?<=[,;\t|]))[ ]*"[ ]*(?=[,;\t|]|$)')
"""A quotation mark that is a whole cell: a ditto mark."""

_MAY_COMMENT = frozenset("#%/; \t\u00a0")
_COMMENT = re.compile(r"\s*(?:#|%|//|;(?=\s*[^\W\d]))+[ \t]?")


_REMARK = re.compile(r"(?P<row>[^\s#\"][^#\"]*[0-9][^\s#\",;|]{0,8})[ ]+(?P<said>#(?![A-Z0/!?]+$)[ ]*[^\W\d_][^\n]*)")
"""A remark behind a number at the end of a line, a blank before it: "54.902 # table kicked", and no "#N/A"."""


class Line(NamedTuple):
    """A line that is not blank: its 1-based number (the first one where a quoted cell spans several) and its text."""

    number: int
    text: str


@dataclass(frozen=True)
class Lines:
    """The lines of a file; ``cut`` is true when the last one has no line end; notes in words."""

    lines: tuple[Line, ...]
    cut: bool
    notes: tuple[str, ...]


def lines_of(text: str) -> Lines:
    """Return the lines of ``text`` that are not blank.

    >>> [(line.number, line.text) for line in lines_of("a\\r\\n\\rb\\nc").lines]
    [(1, 'a'), (3, 'b'), (4, 'c')]
    """
    both = text.count("\r\n")
    kinds = {"CRLF": both, "LF": text.count("\n") - both, "CR": text.count("\r") - both}
    used = [f"{count} {kind}" for kind, count in kinds.items() if count]
    notes = (f"mixed line ends: {', '.join(used)}",) if len(used) > 1 else ()
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    plain = text.split("\n")
    lines = _joined(plain) if '"' in text else [Line(n, t) for n, t in enumerate(plain, 1) if t and not t.isspace()]
    return Lines(tuple(lines), not text.endswith("\n"), notes)


def comment_of(text: str, separator: str) -> str | None:
    """Return what a comment line says, None for a line that is none; ``;`` marks one unless it separates cells.

    >>> comment_of("# half way", "comma"), comment_of("; half way", "semicolon")
    ('half way', None)
    """
    if text[0] not in _MAY_COMMENT:
        return None
    match = _COMMENT.match(text)
    if not match or (separator == "semicolon" and match[0].lstrip().startswith(";")):
        return None
    return text[match.end() :].strip()


def without_remark(line: Line) -> tuple[Line, str]:
    """Return the line without the remark behind its last number, and that remark ("" for none).

    >>> without_remark(Line(4, "3.0,54.902 # table kicked")), without_remark(Line(1, "Laser #A"))
    ((Line(number=4, text='3.0,54.902'), '# table kicked'), (Line(number=1, text='Laser #A'), ''))
    """
    match = _REMARK.fullmatch(line.text) if "#" in line.text else None
    return (Line(line.number, match["row"]), match["said"].strip()) if match else (line, "")


def _joined(plain: list[str]) -> list[Line]:
    lines: list[Line] = []
    at = 0
    while at < len(plain):
        more = _span(plain, at) if '"' in plain[at] else 0
        text = "\n".join(plain[at : at + more + 1])
        if text and not text.isspace():
            lines.append(Line(at + 1, text))
        at += more + 1
    return lines


def _span(plain: list[str], at: int) -> int:
    """Return how many further lines the quoted cell reaches that opens in line ``at``."""
    if not _odd(plain[at]) or not _OPENS.search(_LONE.sub("", plain[at])) or _COMMENT.match(plain[at]):
        return 0
    for more in range(1, min(_LONGEST_CELL, len(plain) - at)):
        if _odd(plain[at + more]):
            return more
    return 0


def _odd(text: str) -> bool:
    return text.count('"') % 2 == 1 and _LONE.sub("", text).count('"') % 2 == 1
