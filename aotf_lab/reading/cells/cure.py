"""What to do about a cell that cannot be read: the raw file stays as it is, a layout says the rest."""

from __future__ import annotations

import re

__all__ = ["pass_over"]

_LINE = re.compile(r":(\d+)(?:,|$)")


def pass_over(where: str) -> str:
    """Return the cure that leaves out the line which ``where`` names.

    >>> pass_over("log.csv:17, column 'Drive'")
    'pass the line over in a layout: skip_lines = { 17 = "reason" }'
    """
    line = _LINE.search(where)
    return f'pass the line over in a layout: skip_lines = {{ {line[1] if line else "LINE"} = "reason" }}'
