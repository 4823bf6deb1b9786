"""A suspicion: readings that the file gives in good form and that are probably not what happened, with the cause."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from aotf_lab.reading.readings import Readings

__all__ = ["Suspicion", "lines_of", "listed"]

_SHOWN = 6


@dataclass(frozen=True)
class Suspicion:
    """What looks wrong, and the cause that would explain it.

    ``what`` is the fault in a few words, ``where`` file and lines (``lines_of``) or the two files,
    ``found`` the numbers that speak for it, ``likely_cause`` what probably happened, the likeliest
    first, ``cure`` what to do. ``rows`` are the positions (0-based) of the rows concerned in the table
    that was asked about; where two tables are compared, in the one named last. ``unusable``: a fit of
    these readings as they stand would be wrong by more than any stated uncertainty.

    >>> print(Suspicion("time runs backwards", "scan.csv:5-35", "every step is -0.5 s", "the file was sorted",
    ...                 "state the order", (3, 4)))
    scan.csv:5-35: time runs backwards; found every step is -0.5 s; likely: the file was sorted; state the order
    """

    what: str
    where: str
    found: str
    likely_cause: str
    cure: str
    rows: tuple[int, ...] = ()
    unusable: bool = False

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        return f"{place}{self.what}; found {self.found}; likely: {self.likely_cause}; {self.cure}"


def lines_of(readings: Readings, rows: Sequence[int]) -> str:
    """Return file and lines of the rows at these positions, runs of lines drawn together.

    >>> import pandas as pd
    >>> lines_of(Readings(pd.DataFrame({"file": "a.csv", "line": [3, 4, 5, 9]})), [0, 1, 2, 3])
    'a.csv:3-5, 9'
    """
    table = readings.table
    if not {"file", "line"} <= set(table.columns):
        return f"rows {_runs([r + 1 for r in rows])}" if rows else ""
    files: dict[str, list[int]] = {}
    for row in rows:
        files.setdefault(str(table["file"].iloc[row]), []).append(int(table["line"].iloc[row]))
    return "; ".join(f"{file}:{_runs(lines)}" for file, lines in files.items())


def _runs(numbers: Sequence[int]) -> str:
    runs: list[list[int]] = []
    for n in sorted(numbers):
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return listed([f"{a}-{b}" if b > a else f"{a}" for a, b in runs])


def listed(parts: Sequence[str], shown: int = _SHOWN) -> str:
    """Return the parts with commas between, the later ones counted only.

    >>> listed(["a", "b", "c"], 2)
    'a, b and 1 more'
    """
    more = f" and {len(parts) - shown} more" if len(parts) > shown else ""
    return ", ".join(parts[:shown]) + more
