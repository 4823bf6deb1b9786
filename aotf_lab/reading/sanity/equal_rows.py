"""Rows that are equal in every number, and how improbable that is for readings that scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.quantities import QUANTITIES
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, chance_of_equal, numbers

__all__ = ["EqualRun", "equal_blocks", "number_columns"]

Rows = NDArray[np.int64]

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
    have = set(readings.table.columns)
    return [c for c in wanted if c in have and c != "time_s"]


def equal_blocks(
    first: Readings, second: Readings, columns: Sequence[str], *, within: bool = False, most: float = 1.0
) -> list[EqualRun]:
    """Return the runs of rows of ``second`` that are equal to rows of ``first`` in all ``columns``, longest first.

    ``within``: both are one table, and each run is paired with an earlier one. ``chance`` is the number of pairs of
    rows times the probability that one run of this length is equal by chance; per row and column that is the larger
    of what resolution and scatter say and of how often the other rows repeat a value (a setting repeats). Runs whose
    chance is above ``most`` are left out.
    """
    if not within and any(_shown(first, c).isdisjoint(_shown(second, c)) for c in columns):
        return []
    one, other = (np.stack([numbers(r.table[c]) for c in columns], axis=1) for r in (first, second))
    i, j = _pairs(one, other, within)
    if i.size == 0:
        return []
    matched = np.unique(np.concatenate([i, j]) if within else j)
    per_row = float(np.prod([_chance(one[:, k], other[:, k], matched, within) for k in range(len(columns))]))
    trials = len(one) * len(other) * (0.5 if within else 1.0)
    starts, ends, lengths = _diagonals(i, j)
    chances = np.minimum(1.0, trials * per_row ** lengths.astype(float))
    found = []
    for k in np.flatnonzero(chances <= most).tolist():
        start, end, length = int(starts[k]), int(ends[k]), int(lengths[k])
        rows = tuple(range(start, start + length)), tuple(range(end, end + length))
        found.append(EqualRun(*rows, float(chances[k])))
    return sorted(found, key=lambda r: -len(r.second))


def _shown(readings: Readings, column: str) -> frozenset[int]:
    """Return the numbers that a column shows, as bits: each file is laid beside all others."""
    if column not in readings.shown:
        readings.shown[column] = frozenset(numbers(readings.table[column]).view(np.int64).tolist())
    return readings.shown[column]


def _pairs(one: Floats, other: Floats, within: bool) -> tuple[Rows, Rows]:
    """Return the positions (n,) of equal rows in both tables; no row of ``other`` has more than a few partners."""
    rows = np.concatenate([one, other])
    _, kinds = np.unique(rows.view(np.int64), axis=0, return_inverse=True)
    told = np.any(np.isfinite(rows), axis=1)
    places, asked = np.flatnonzero(told[: len(one)]), np.flatnonzero(told[len(one) :])
    places = places[np.argsort(kinds[places], kind="stable")]
    known, wanted = kinds[places], kinds[len(one) + asked]
    start = np.searchsorted(known, wanted, side="left")
    count = np.minimum(np.searchsorted(known, wanted, side="right") - start, _MOST_PARTNERS)
    turn = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    i, j = places[np.repeat(start, count) + turn], np.repeat(asked, count)
    return (i[i < j], j[i < j]) if within else (i, j)


def _diagonals(i: Rows, j: Rows) -> tuple[Rows, Rows, Rows]:
    """Return where the runs along which both positions count up by one start (two arrays), and how long they are."""
    order = np.argsort((j - i) * (i.max() + 1) + i)
    i, j = i[order], j[order]
    new = np.ones(i.size, dtype=bool)
    new[1:] = (np.diff(i) != 1) | (np.diff(j) != 1)
    starts = np.flatnonzero(new)
    lengths = np.diff(np.append(starts, i.size))
    i, j = i[starts], j[starts]
    order = np.argsort(i * (j.max() + 1) + j)
    return i[order], j[order], lengths[order]


def _chance(one: Floats, other: Floats, matched: Rows, within: bool) -> float:
    noise = max(chance_of_equal(one), chance_of_equal(other))
    rest = np.delete(other, matched)
    rest = rest[np.isfinite(rest)]
    if within:
        _, counts = np.unique(rest, return_counts=True)
        repeats = int(np.sum(counts[counts > 1]))
    else:
        repeats = int(np.sum(np.isin(rest, one)))
    return min(1.0, max(_CAUTION * noise, (repeats + 1.0) / (rest.size + 2.0)))
