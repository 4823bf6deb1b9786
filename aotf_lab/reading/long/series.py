"""The light readings, or the dark ones, of all blocks: means and scatter of those that have any."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.reading.long.batches import OpenBlock, closed_blocks
from aotf_lab.reading.long.correlation import BlockScatter, ScatterStore
from aotf_lab.reading.long.growing import Growing

__all__ = ["Series"]

Array = NDArray[np.float64]


class Series:
    """Readings gathered block by block; ``block`` and ``time`` are number and mean time of each that has any."""

    def __init__(self) -> None:
        self._store = ScatterStore()
        self._block = Growing()
        self._time = Growing()
        self._number = -1
        self._open = OpenBlock()
        self._open_time = 0.0

    def add(self, values: Array, time: Array, block: NDArray[np.int64], growing: int) -> None:
        """Add readings with the number of their block; block ``growing`` may go on in the next piece."""
        if not len(values):
            return
        edges = np.flatnonzero(np.diff(block)) + 1
        starts = np.concatenate([[0], edges]).astype(np.int64)
        counts = np.diff(np.concatenate([starts, [len(block)]]))
        first, last = 0, len(starts)
        if self._open.count and block[0] == self._number:
            self._grow(values[: counts[0]], time[: counts[0]], int(block[0]))
            first = 1
        if first < last and self._open.count:
            self.close()
        if first < last and block[-1] == growing:
            last -= 1
        if first < last:
            a, b = starts[first], starts[last - 1] + counts[last - 1]
            self._store.add(closed_blocks(values[a:b], counts[first:last]))
            self._block.extend(block[starts[first:last]])
            self._time.extend(np.add.reduceat(time[a:b], starts[first:last] - a) / counts[first:last])
        if last < len(starts) and last >= first:
            self._grow(values[starts[last] :], time[starts[last] :], int(block[-1]))

    def _grow(self, values: Array, time: Array, number: int) -> None:
        self._number = number
        self._open.add(values)
        self._open_time += float(time.sum())

    def close(self) -> None:
        """End the block that is growing."""
        if self._open.count:
            self._store.add(self._open.close())
            self._block.extend(np.array([self._number]))
            self._time.extend(np.array([self._open_time / self._open.count]))
        self._open, self._open_time = OpenBlock(), 0.0

    @property
    def empty(self) -> bool:
        """Whether there is no reading at all."""
        return not len(self._block)

    @property
    def block(self) -> NDArray[np.int64]:
        """Number of each block that has a reading."""
        return self._block.integers

    @property
    def time(self) -> Array:
        """Mean time of the readings of each of those blocks."""
        return self._time.values

    def scatter(self) -> BlockScatter:
        """Return count, mean, spread and u of those blocks."""
        return self._store.result()
