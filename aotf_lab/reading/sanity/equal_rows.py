"""Rows that are equal in every number, and how improbable that is for readings that scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from aotf_lab.quantities import QUANTITIES
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, chance_of_equal, numbers

__all__ = ["EqualRun", "equal_blocks", "number_columns"]

_MOST_PARTNERS = 20
_CAUTION = 3.0
"""Curvature passes for scatter in ``chance_of_equal``: its answer is raised by this factor."""


@dataclass(frozen=True)
class EqualRun:
    """Rows ``first`` of one table equal to rows ``second`` of another, and how many such runs chance makes."""

    first: tuple[int, ...]
    second: tuple[int, ...]
    chance: float


def number_columns(readings: Readings) -> list[str]:
    """Return the columns of readings that are numbers, without time and without uncertainties."""
    wanted = (*QUANTITIES, "rf_level_dbm", "wavelength_stated_nm")
    return [c for c in wanted if c in readings.table.columns and c != "time_s"]


def equal_blocks(first: Readings, second: Readings, columns: Sequence[str], *, within: bool = False) -> list[EqualRun]:
    """Return the runs of rows of ``second`` that are equal to rows of ``first`` in all ``columns``, longest first.

    ``within``: both are one table, and each run is paired with an earlier one. ``chance`` is the number of pairs of
    rows times the probability that one run of this length is equal by chance; per row and column that is the larger
    of what resolution and scatter say and of how often the other rows repeat a value (a setting repeats).
    """
    one, other = (np.stack([numbers(r.table[c]) for c in columns], axis=1) for r in (first, second))
    pairs = _pairs(one, other, within)
    if not pairs:
        return []
    matched = {j for _, j in pairs} | ({i for i, _ in pairs} if within else set())
    per_row = float(np.prod([_chance(one[:, k], other[:, k], matched, within) for k in range(len(columns))]))
    trials = len(one) * len(other) * (0.5 if within else 1.0)
    found = []
    for run in _diagonals(pairs):
        i, j = zip(*run, strict=True)
        found.append(EqualRun(tuple(i), tuple(j), float(min(1.0, trials * per_row ** len(run)))))
    return sorted(found, key=lambda r: -len(r.second))


def _pairs(one: Floats, other: Floats, within: bool) -> set[tuple[int, int]]:
    places: dict[bytes, list[int]] = {}
    for i, row in enumerate(one):
        if np.any(np.isfinite(row)):
            places.setdefault(row.tobytes(), []).append(i)
    pairs = set()
    for j, row in enumerate(other):
        partners = places.get(row.tobytes(), [])
        pairs |= {(i, j) for i in partners[:_MOST_PARTNERS] if not within or i < j}
    return pairs


def _diagonals(pairs: set[tuple[int, int]]) -> list[list[tuple[int, int]]]:
    """Return the pairs in runs along which both positions count up by one."""
    runs = []
    for pair in sorted(pairs):
        if (pair[0] - 1, pair[1] - 1) not in pairs:
            run = [pair]
            while (run[-1][0] + 1, run[-1][1] + 1) in pairs:
                run.append((run[-1][0] + 1, run[-1][1] + 1))
            runs.append(run)
    return runs


def _chance(one: Floats, other: Floats, matched: set[int], within: bool) -> float:
    noise = max(chance_of_equal(one), chance_of_equal(other))
    rest = np.delete(other, sorted(matched))
    rest = rest[np.isfinite(rest)]
    if within:
        _, counts = np.unique(rest, return_counts=True)
        repeats = int(np.sum(counts[counts > 1]))
    else:
        repeats = int(np.sum(np.isin(rest, one)))
    return min(1.0, max(_CAUTION * noise, (repeats + 1.0) / (rest.size + 2.0)))
