"""Text in lines of limited width: what runs past the edge goes on below, indented, and no word is broken."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

__all__ = ["COLUMNS", "hung", "printed_columns", "text_lines", "within_columns"]

COLUMNS = 100
"""Width of printed text where nothing else is said: it fits a notebook's cell and half a screen."""

_FEWEST = 30
"""Columns that a text needs; where fewer are left beside a name, its further lines start below the name."""

_NEAR = 6
_NARROWEST = 40

_width: ContextVar[int] = ContextVar("width of printed text", default=COLUMNS)


@contextmanager
def within_columns(columns: int) -> Iterator[None]:
    """Let all text that is made inside the block be ``columns`` wide: that of the terminal on which it is printed."""
    token = _width.set(max(columns, _NARROWEST))
    try:
        yield
    finally:
        _width.reset(token)


def printed_columns() -> int:
    """Return how wide printed text is here."""
    return _width.get()


def hung(text: str, head: str = "", deep: int = 4) -> str:
    """Return ``head`` and ``text``; what runs past the edge goes on in further lines, ``deep`` columns to the right.

    Where that leaves little room, further lines start at column 6. A word longer than a line stays whole.

    >>> with within_columns(60):
    ...     print(hung("a passband that leans puts its centre where the law has it", "  lean  ", 8))
      lean  a passband that leans puts its centre where the law
            has it
    """
    width = _width.get()
    if len(head) + len(text) <= width and "\n" not in text:
        return head + text
    blank = " " * (deep if width - deep >= _FEWEST else _NEAR)
    lines: list[str] = []
    for part in text.split("\n"):
        first = blank if lines else head
        lines += textwrap.wrap(
            part, width, initial_indent=first, subsequent_indent=blank, break_long_words=False, break_on_hyphens=False
        ) or [first]
    return "\n".join(lines)


def text_lines(lines: Iterable[str]) -> str:
    """Return ``lines`` as one text; what runs past the edge goes on four columns right of the start of its line.

    >>> with within_columns(40):
    ...     print(text_lines(["Two readings", "  FAILED scatter: look for an outlier or a drift"]))
    Two readings
      FAILED scatter: look for an outlier or
          a drift
    """
    return "\n".join(_of_its_own(line) for text in lines for line in text.split("\n"))


def _of_its_own(line: str) -> str:
    text = line.lstrip(" ")
    start = len(line) - len(text)
    return line if len(line) <= _width.get() else hung(text, line[:start], start + 4)
