"""What one cell shows about the marks in numbers: which sign is decimal in it, and which groups thousands."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

__all__ = ["BLANKS", "USES", "SeenMarks", "look_at"]

BLANKS = " \u00a0\u2009\u202f'\u2019"
"""Marks between thousands that cannot be decimal marks."""

USES = ("decimal", "group", "either")

_CORE = re.compile(rf"[+\-\u2212]?[ ]?([0-9][0-9.,{BLANKS}]*|[.,][0-9]+)(?P<rest>.*)", re.DOTALL)
_DATE = re.compile(r"[0-9]{1,4}\.[0-9]{1,2}\.[0-9]{2,4}(?![0-9])")
_GROUPED = re.compile(rf"[1-9][0-9]{{0,2}}(?:([.,{BLANKS}])[0-9]{{3}})(?:\1[0-9]{{3}})*")
_REST = re.compile(r"(?P<exponent>[eE][+\-\u2212]?[0-9]+)?(?:[^0-9:/][^0-9:]*)?")
_WHOLE = re.compile(r"[^.,]*")


@dataclass
class SeenMarks:
    """The first cell (line, cell) that shows each use of "." and ",": "decimal", "group" or "either".

    ``blanks`` are the blanks seen between thousands, ``spaced`` the last cell with one, ``spaced_count`` how
    many follow another such cell that is not the same.
    """

    first: dict[tuple[str, str], tuple[int, str]] = field(default_factory=dict)
    blanks: set[str] = field(default_factory=set)
    spaced: tuple[int, str] = (0, "")
    spaced_count: int = 0

    def note(self, mark: str, use: str, line: int, cell: str) -> None:
        """Keep the cell when it is the first of its use."""
        self.first.setdefault((mark, use), (line, cell))

    def get(self, mark: str, *uses: str) -> tuple[int, str] | None:
        """Return the first cell that shows one of the uses."""
        found = [self.first[mark, use] for use in uses if (mark, use) in self.first]
        return min(found) if found else None


def look_at(seen: SeenMarks, line: int, cell: str) -> str:
    """Note what the cell says about marks; return the mark that is surely decimal in it, "" for none.

    >>> seen = SeenMarks()
    >>> [look_at(seen, 1, cell) for cell in ("1,25 V", "1.234,5", "64.228", "02.05.2024")], sorted(seen.first)
    ([',', ',', '', ''], [(',', 'decimal'), ('.', 'either'), ('.', 'group')])
    """
    match = _CORE.fullmatch(cell)
    rest = _REST.fullmatch(match["rest"]) if match else None
    if match is None or rest is None or _DATE.match(cell):
        return ""
    core = match[1].rstrip(BLANKS)
    if core[-1] in ".," and rest[0]:
        return ""  # "4. Feb"
    blanks = [mark for mark in BLANKS if mark in core]
    if blanks:
        whole = _WHOLE.match(core)
        if len(blanks) > 1 or whole is None or not _GROUPED.fullmatch(whole[0]):
            return ""
        seen.blanks.update(blanks)
        seen.spaced_count += cell != seen.spaced[1]
        seen.spaced = (line, cell)
        core = "9999" + core[whole.end() :]  # four digits without a mark: what follows is decimal
    use, mark = _use(core, bool(rest["exponent"]))
    if use == "both":
        seen.note(mark, "decimal", line, cell)
        seen.note("," if mark == "." else ".", "group", line, cell)
        return mark
    if use:
        seen.note(mark, use, line, cell)
    return mark if use == "decimal" else ""


def _use(core: str, exponent: bool) -> tuple[str, str]:
    """Return the use and the mark; "both": ``mark`` is decimal and the other one groups; "" when it is no number."""
    point, comma = core.rfind("."), core.rfind(",")
    if point < 0 and comma < 0:
        return "", ""
    mark = "." if point > comma else ","
    if point >= 0 and comma >= 0:
        sound = core.count(mark) == 1 and _GROUPED.fullmatch(core[: max(point, comma)])
        return ("both", mark) if sound else ("", "")
    if core.count(mark) > 1:
        return ("group", mark) if _GROUPED.fullmatch(core) else ("", "")
    return ("either", mark) if _GROUPED.fullmatch(core) and not exponent else ("decimal", mark)
