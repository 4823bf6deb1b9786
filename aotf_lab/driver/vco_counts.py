"""Counts that are twice or half what the other rows say: a counter's trigger, not the oscillator.

A counter set to a wrong trigger level counts each period twice, or every other one. The factor is
known, so such a row can be told from a merely bad one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Miscount", "miscounts"]

_HARMLESS = 0.15
_NEAR = 0.25
_SHARE = 1 / 3
_PAIRED = 400


@dataclass(frozen=True)
class Miscount:
    """A row whose count is ``ratio`` times what the other rows say; ``factor`` is 2 or 0.5."""

    row: int
    place: str
    ratio: float
    factor: float

    def __str__(self) -> str:
        word = "doubled" if self.factor > 1 else "halved"
        return f"{self.place} ({self.ratio:.2f} times the others, {word})"


def miscounts(table: VcoTable) -> tuple[Miscount, ...]:
    """Return the doubled and halved counts of ``table``.

    Rows in the order of voltage are each taken as right, doubled or halved, whichever leaves the
    least up and down of log f about its trend with the fewest rows changed; each suspect must then lie near twice
    or half what a quadratic through the other rows predicts. Raises ``ReadingsError`` when more
    than a third of the rows look wrong: then nothing tells which are right.
    """
    t = (table.drive_v - table.drive_v.min()) / np.ptp(table.drive_v)
    design = np.stack([np.ones_like(t), np.log1p(t / 0.1), t], axis=1)
    logs = np.log(table.frequency_mhz)
    plain = logs - design @ np.linalg.lstsq(design, logs, rcond=None)[0]
    if np.max(np.abs(plain)) < _HARMLESS:
        return ()
    octave = _octaves(t, logs - _trend(design[:, 1], logs) * design[:, 1])
    good = octave == 0
    if np.count_nonzero(~good) > _SHARE * len(t):
        raise _unclear(table, np.flatnonzero(~good))
    if good.all() or len(np.unique(t[good])) < 3:
        return ()
    gap = logs - design @ np.linalg.lstsq(design[good], logs[good], rcond=None)[0]
    wrong = ~good & (np.abs(gap - octave * np.log(2)) < _NEAR)
    return tuple(_miscount(table, int(k), float(gap[k])) for k in np.flatnonzero(wrong))


def _trend(axis: FloatArray, logs: FloatArray) -> float:
    """Return the median slope of all pairs, which less than 29 % wrong rows do not move (Sen, JASA 63, 1379 (1968))."""
    first, second = np.triu_indices(min(len(axis), _PAIRED), 1)
    pick = np.linspace(0, len(axis) - 1, min(len(axis), _PAIRED)).astype(int)
    run = axis[pick][second] - axis[pick][first]
    apart = np.abs(run) > 1e-9
    return float(np.median((logs[pick][second] - logs[pick][first])[apart] / run[apart]))


def _octaves(t: FloatArray, logs: FloatArray) -> FloatArray:
    """Return for each row 0, +1 (doubled) or -1 (halved): the cheapest path, by dynamic programming."""
    states = np.array([0.0, 1.0, -1.0])
    order = np.argsort(t, kind="stable")
    value = logs[order, None] - states * np.log(2)
    price = min(0.05, 0.6 / (_SHARE * len(t) + 1)) * np.abs(states)
    cost = price.copy()
    came_from = np.zeros((len(t), 3), dtype=np.intp)
    for k in range(1, len(t)):
        step = cost[:, None] + np.abs(value[k][None, :] - value[k - 1][:, None])
        came_from[k] = np.argmin(step, axis=0)
        cost = step.min(axis=0) + price
    path = np.zeros(len(t), dtype=np.intp)
    path[-1] = np.argmin(cost)
    for k in range(len(t) - 1, 0, -1):
        path[k - 1] = came_from[k, path[k]]
    octave = np.empty(len(t))
    octave[order] = states[path]
    return octave


def _unclear(table: VcoTable, rows: NDArray[np.intp]) -> ReadingsError:
    return ReadingsError(
        "counts differ by a factor of two and nothing tells which are right",
        where=", ".join(table.place(k) for k in rows[:6]) + (" and others" if len(rows) > 6 else ""),
        found=Said(f"{len(rows)} of {len(table)} rows"),
        allowed="at most a third of the rows",
        cure="set the counter's trigger level and impedance, and measure again",
    )


def _miscount(table: VcoTable, row: int, gap: float) -> Miscount:
    return Miscount(row, table.place(row), float(np.exp(gap)), 2.0 if gap > 0 else 0.5)
