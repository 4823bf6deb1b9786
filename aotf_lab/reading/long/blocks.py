"""Rows gathered into blocks: where a block begins, and what is counted and averaged in each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.long.growing import Growing
from aotf_lab.reading.long.odd_lines import Kind
from aotf_lab.reading.long.rows import Array, Rows
from aotf_lab.reading.long.series import Series
from aotf_lab.reading.long.sort_lines import Flags

__all__ = ["GAP_STEPS", "Account", "Break", "Gatherer", "Sizes"]

Numbers = NDArray[np.int64]

GAP_STEPS = 10.0
"""A pause of more than this many steps of time ends a block, as does a time that goes back."""

_NAMED = 5
_NOT_BESIDE = ("time_s", "optical_power_mw", "dark_power_mw")


@dataclass(frozen=True)
class Sizes:
    """How long a block is, in seconds or in rows, and the usual ``step_s`` between rows (NaN without time)."""

    block_s: float | None
    block_rows: int | None
    step_s: float


@dataclass(frozen=True)
class Break:
    """A break in time before the 1-based ``line``: ``step_s`` is the step there (negative: the clock was set back)."""

    line: int
    step_s: float


@dataclass(frozen=True)
class Account:
    """Of one column over all rows taken: how many readings, the range, the first and the last, in bench units."""

    count: int
    low: float
    high: float
    first: float
    last: float


class Gatherer:
    """Gathers the rows of one file into blocks, piece by piece.

    ``light`` and ``dark`` hold the readings, ``breaks`` the first breaks in time of ``break_count``.
    """

    def __init__(self, sizes: Sizes) -> None:
        self.light, self.dark = Series(), Series()
        self.breaks: list[Break] = []
        self.break_count = 0
        self.rows = 0
        self.accounts: dict[str, Account] = {}
        self._sizes = sizes
        self._last_time = self._start = float("nan")
        self._index = self._block = -1
        self._first_lines = Growing()
        self._sums: dict[str, Growing] = {}

    def add(self, rows: Rows) -> None:
        """Add the rows of a piece."""
        if not len(rows.line):
            return
        time = self._time(rows)
        block = self._blocks(rows.line, time)
        taken = np.ones(len(block), bool) if rows.kind is None else rows.kind == Kind.TAKEN
        power = rows.numbers["optical_power_mw"]
        if "dark_power_mw" in rows.numbers:
            power = power - rows.numbers["dark_power_mw"]
        if rows.dark is not None:
            dark = taken & rows.dark
            self.dark.add(power[dark], time[dark], block[dark], self._block)
            self._put("dark", dark, block)
            taken = taken & ~rows.dark
        part = slice(None) if taken.all() else taken
        self.light.add(power[part], time[part], block[part], self._block)
        self._sum(rows, block, taken)
        self._account(rows, taken)
        self.rows += len(block)

    def finish(self) -> None:
        """End the last block."""
        self.light.close()
        self.dark.close()

    @property
    def first_lines(self) -> Numbers:
        """The first line of every block, without a reading or not."""
        return self._first_lines.integers

    def total(self, name: str) -> Array:
        """Return of every block the sum of a column over the rows taken, or how many rows are "rows", "dark", "doubt",
        of a ``Kind`` by name, or have a number in the column ``n NAME``."""
        total = np.zeros(self._block + 1)
        if name in self._sums:
            known = self._sums[name].values
            total[: len(known)] = known
        return total

    def _put(self, name: str, values: Array | Flags, block: Numbers) -> None:
        starts = np.searchsorted(block, np.arange(block[0], block[-1] + 1))
        self._sums.setdefault(name, Growing()).add_at(int(block[0]), np.add.reduceat(values, starts, dtype=float))

    def _sum(self, rows: Rows, block: Numbers, taken: Flags) -> None:
        self._put("rows", np.ones(len(block)), block)
        if rows.kind is not None:
            for kind in (Kind.OVER_RANGE, Kind.GAP, Kind.RAGGED):
                self._put(kind.name, rows.kind == kind, block)
        if rows.doubt is not None and rows.doubt.any():
            self._put("doubt", rows.doubt & taken, block)
        for name, values in rows.numbers.items():
            if name in _NOT_BESIDE:
                continue
            there = taken & ~np.isnan(values)
            self._put(name, np.where(there, values, 0.0), block)
            self._put(f"n {name}", there, block)
        if "dark_power_mw" in rows.numbers:
            self._put("subtracted", np.where(taken, rows.numbers["dark_power_mw"], 0.0), block)

    def _account(self, rows: Rows, taken: Flags) -> None:
        every = bool(taken.all())
        for name, values in rows.numbers.items():
            own = values if every else values[taken]
            if np.isnan(own.sum()):
                own = own[~np.isnan(own)]
            if not len(own):
                continue
            low, high, first, last = float(own.min()), float(own.max()), float(own[0]), float(own[-1])
            before = self.accounts.get(name, Account(0, low, high, first, last))
            self.accounts[name] = Account(
                before.count + len(own), min(before.low, low), max(before.high, high), before.first, last
            )

    def _time(self, rows: Rows) -> Array:
        """Return the time of every row; a row without one takes that of the row before it."""
        time = rows.numbers.get("time_s")
        if time is None:
            counted: Array = (self.rows + np.arange(len(rows.line), dtype=np.float64)) * self._sizes.step_s
            return counted
        gaps = np.isnan(time)
        if not gaps.any():
            return time
        known = np.maximum.accumulate(np.where(gaps, 0, np.arange(1, len(time) + 1)))
        filled = np.concatenate([[self._last_time], time])[known]
        still = np.isnan(filled)
        filled[still] = filled[np.argmin(still)]
        return filled

    def _blocks(self, line: Numbers, time: Array) -> Numbers:
        """Return the number of the block of every row."""
        steps = np.diff(time, prepend=self._last_time)
        broken = (steps < 0) | (steps > GAP_STEPS * self._sizes.step_s)
        self._note_breaks(line, steps, broken)
        broken[0] |= not self.rows
        position = np.arange(self.rows, self.rows + len(time), dtype=float)
        by_time = self._sizes.block_s is not None
        measure, length = (time, self._sizes.block_s) if by_time else (position, self._sizes.block_rows)
        start = np.full(len(time), self._start)
        at = np.flatnonzero(broken)
        if len(at):
            start[at[0] :] = np.repeat(measure[at], np.diff(np.append(at, len(time))))
        index = np.floor((measure - start) / float(length or 1) + 1e-9).astype(np.int64)
        fresh = broken | (np.diff(index, prepend=self._index) != 0)
        block = self._block + np.cumsum(fresh)
        self._first_lines.extend(line[fresh])
        self._block, self._index = int(block[-1]), int(index[-1])
        self._start, self._last_time = float(start[-1]), float(time[-1])
        return block

    def _note_breaks(self, line: Numbers, steps: Array, broken: Flags) -> None:
        at = np.flatnonzero(broken)
        self.break_count += len(at)
        for k in at[: max(_NAMED - len(self.breaks), 0)]:
            self.breaks.append(Break(int(line[k]), float(steps[k])))
