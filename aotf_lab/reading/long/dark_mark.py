"""The column that says which rows are dark readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.cure import pass_over
from aotf_lab.reading.shape.heading import Heading
from aotf_lab.reading.text.grid import RawRow

__all__ = ["DarkMark", "dark_mark"]

_DARK = frozenset({"dark", "closed", "shut", "blocked"})
_LIGHT = frozenset({"", "light", "open", "lit", "signal"})
_HEADED = ("shutter", "beam", "state", "mark", "marker")


@dataclass(frozen=True)
class DarkMark:
    """The column at ``position`` marks dark rows; ``free`` when it is one of labels, of which "dark" is only one."""

    position: int
    header: str
    free: bool

    def is_dark(self, word: str, place: str) -> bool:
        """Return whether the word says that the row is a dark reading.

        Raises ``ReadingError`` for a word that says neither, unless the column holds free labels.

        >>> DarkMark(1, "Shutter", False).is_dark("Closed", "log.csv:7")
        True
        """
        said = word.strip().lower()
        if said in _DARK:
            return True
        if not (self.free or said in _LIGHT):
            raise ReadingError(
                "a row that is marked neither dark nor light", where=place, found=word,
                allowed=", ".join(sorted((_DARK | _LIGHT) - {""})),
                cure=pass_over(place),
            )  # fmt: skip
        return False


def dark_mark(headings: Sequence[Heading], rows: Sequence[RawRow]) -> DarkMark | None:
    """Return the column that marks dark rows, None when there is none.

    A column of labels marks the rows that it calls dark. A column headed shutter, beam, state or mark
    counts when all its words in the first rows are known ones (common practice, no source).
    """
    for heading in headings:
        if heading.column == "label":
            return DarkMark(heading.position, heading.header, free=True)
        said = {row.cells[heading.position].strip().lower() for row in rows}
        if not heading.column and heading.header.strip().lower() in _HEADED and said <= _DARK | _LIGHT:
            return DarkMark(heading.position, heading.header, free=False)
    return None
