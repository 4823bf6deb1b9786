"""Rows whose frequency is a whole factor away from what the rows around them say."""

from __future__ import annotations

from collections.abc import Collection, Container
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers

__all__ = ["FACTORS", "Stretch", "along", "by_factor", "false_factors"]

FACTORS = (2.0, 1 / 2, 3.0, 1 / 3, 10.0, 1 / 10, 1e3, 1e-3, 1e6, 1e-6)
"""What a counter's trigger and gate, and a prefix of the unit, make of a frequency."""

LIKELY_MHZ = (5.0, 1500.0)
"""Where acousto-optic drives lie (common practice, no source): says which of two groups of rows is right."""

_HARMLESS = 0.35
_SMOOTH = 0.02
_EXACT = 0.01
_FINE = 0.005
_COARSE = 0.12
_FEWEST = 5


@dataclass(frozen=True)
class Stretch:
    """Rows that show ``factor`` times the frequency: the ratio found, its u, and what they would be (MHz)."""

    rows: tuple[int, ...]
    factor: float
    ratio: float
    u_ratio: float
    true_mhz: tuple[float, ...]


def along(readings: Readings, rows: NDArray[np.intp]) -> tuple[Floats, bool]:
    """Return what the frequency of these rows follows: the drive voltage (True), or the order of the file (False)."""
    if "drive_v" in readings.table.columns:
        drive = numbers(readings.table["drive_v"])[rows]
        if np.all(np.isfinite(drive)) and np.unique(drive).size >= _FEWEST:
            return drive, True
    return rows.astype(float), False


def false_factors(readings: Readings, explained: Collection[int] = ()) -> tuple[Stretch, ...]:
    """Return the stretches of rows that are a factor of ``FACTORS`` off, in the order of drive voltage or file.

    Each row is taken as right or as off by one of the factors, whichever leaves the least up and down of log f with
    the fewest rows changed. A stretch is named only when its edges give the factor within 1 % and the scatter there,
    or another stretch of the same factor does, and the rows are smooth: a list of settings says nothing. Rows in
    ``explained`` are passed over.
    """
    if "frequency_mhz" not in readings.table.columns:
        return ()
    frequency = numbers(readings.table["frequency_mhz"])
    usable = np.isfinite(frequency) & (frequency > 0)
    usable[list(explained)] = False
    rows = np.flatnonzero(usable)
    if rows.size < _FEWEST + 1:
        return ()
    place, by_drive = along(readings, rows)
    order = np.argsort(place, kind="stable")
    place, rows = place[order], rows[order]
    logs = np.log(frequency[rows])
    if np.max(np.abs(np.diff(logs))) < _HARMLESS:
        return ()
    label = _likelier(logs, _labels(logs))
    if not np.any(label) or not _smooth(place, logs, label):
        return ()
    edges = [(run, _edges(place, logs, label, *run, by_drive)) for run in _runs(label)]
    sure = {label[run[0]] for run, edge in edges if edge is not None and _exact(label[run[0]], *edge)}
    found = []
    for (first, last), edge in edges:
        size = label[first]
        if size in sure and edge is not None and abs(edge[0]) < _COARSE * abs(size):
            ratio, true = float(np.exp(size + edge[0])), np.exp(logs[first:last] - size)
            found.append(Stretch(tuple(rows[first:last].tolist()), _named(size), ratio, ratio * edge[1], tuple(true)))
    return tuple(sorted(found, key=lambda s: s.u_ratio / s.ratio))


def by_factor(
    readings: Readings, explained: Collection[int], factors: Container[float]
) -> dict[float, tuple[Stretch, tuple[int, ...], tuple[float, ...]]]:
    """Return for each of ``factors`` found: its first stretch, and all its rows in order with their true MHz."""
    groups: dict[float, list[Stretch]] = {}
    for stretch in false_factors(readings, explained):
        if stretch.factor in factors:
            groups.setdefault(stretch.factor, []).append(stretch)
    found = {}
    for factor, stretches in groups.items():
        pairs = sorted((row, true) for s in stretches for row, true in zip(s.rows, s.true_mhz, strict=True))
        found[factor] = stretches[0], tuple(row for row, _ in pairs), tuple(true for _, true in pairs)
    return found


def _exact(size: float, off: float, u: float) -> bool:
    """Return whether the edges of a stretch give its factor, and could not give another one."""
    return abs(off) <= _EXACT + 2.0 * u and u <= abs(size) / 6.0


def _named(label: float) -> float:
    factor = float(np.exp(label))
    return round(factor, 9) if factor > 1 else 1.0 / round(1.0 / factor, 9)


def _labels(logs: Floats) -> Floats:
    """Return log factor of each row, by dynamic programming over the rows in order."""
    states = np.log(np.array([1.0, *FACTORS]))
    price = min(0.05, 0.6 / (logs.size / 3 + 1)) * (states != 0)
    value = logs[:, None] - states
    cost, came = price.copy(), np.zeros((logs.size, states.size), dtype=np.intp)
    for k in range(1, logs.size):
        step = cost[:, None] + np.abs(value[k][None, :] - value[k - 1][:, None])
        came[k] = np.argmin(step, axis=0)
        cost = step[came[k], np.arange(states.size)] + price
    path = np.zeros(logs.size, dtype=np.intp)
    path[-1] = np.argmin(cost)
    for k in range(logs.size - 1, 0, -1):
        path[k - 1] = came[k, path[k]]
    return np.asarray(states[path])


def _likelier(logs: Floats, label: Floats) -> Floats:
    """Return the labels, shifted when the rows that count as right lie where no drive does and the others do not."""
    middle = float(np.exp(np.median(logs - label)))
    if LIKELY_MHZ[0] <= middle <= LIKELY_MHZ[1]:
        return label
    for shift in set(label[label != 0].tolist()):
        if abs(shift) > np.log(500) and LIKELY_MHZ[0] <= middle * np.exp(shift) <= LIKELY_MHZ[1]:
            return np.asarray(np.where(np.abs(label - shift) < 1e-9, 0.0, label - shift))
    return label


def _smooth(place: Floats, logs: Floats, label: Floats) -> bool:
    """Return whether the rows, factors taken off, follow a line from one neighbour to the next."""
    right = logs - label
    x = place
    if right.size < _FEWEST or np.count_nonzero(label == 0) < _FEWEST - 1:
        return False
    span = np.where(x[2:] > x[:-2], x[2:] - x[:-2], 1.0)
    between = right[:-2] + (right[2:] - right[:-2]) * (x[1:-1] - x[:-2]) / span
    return float(np.median(np.abs(right[1:-1] - between))) < _SMOOTH


def _runs(label: Floats) -> list[tuple[int, int]]:
    edges = [0, *(np.flatnonzero(np.diff(label)) + 1).tolist(), label.size]
    return [(a, b) for a, b in pairwise(edges) if label[a] != 0]


def _edges(
    place: Floats, logs: Floats, label: Floats, first: int, last: int, by_drive: bool
) -> tuple[float, float] | None:
    """Return how far (log) the edges of rows first to last (excluded) lie from the factor, and u; None: untold."""
    right, jumps, doubts = logs - label, [], []
    window = 4 + logs.size // 200  # dense readings scatter more than they move
    for edge, sign in ((first, 1.0), (last, -1.0)):
        if 0 < edge < logs.size:
            gap = place[edge] - place[edge - 1]
            left = _slope(place[max(edge - window, 0) : edge], right[max(edge - window, 0) : edge])
            beyond = _slope(place[edge : edge + window], right[edge : edge + window])
            steps = [s * gap for s in (left, beyond) if s is not None]
            if not steps:
                continue
            jumps.append(sign * (right[edge] - right[edge - 1] - float(np.mean(steps))))
            doubts.append(0.5 * abs(steps[0] - steps[-1]) if len(steps) > 1 else 0.3 * abs(steps[0]))
    if not jumps:
        return None
    u = float(np.hypot(np.mean(doubts) / len(doubts) ** 0.5, 0.003))
    if len(jumps) == 1 and not by_drive and np.median(np.abs(np.diff(right))) > _FINE:
        return None
    return float(np.mean(jumps)), u


def _slope(place: Floats, logs: Floats) -> float | None:
    """Return the slope of a line through a few rows, None when they lie at one place."""
    away = place - place.mean()
    spread = float(away @ away)
    return (
        float(away @ logs) / spread if place.size > 1 and spread > 1e-6 * max(1.0, float(place.mean() ** 2)) else None
    )
