"""Numbers collected piece by piece in one buffer each.

Thousands of small arrays that live on between the large ones of each piece would keep freed memory in
pieces too small to be used again, and memory would grow with the file.
"""

from __future__ import annotations

from array import array

import numpy as np
from numpy.typing import NDArray

__all__ = ["Growing"]


class Growing:
    """A column of floats that grows at its end.

    >>> column = Growing()
    >>> column.extend(np.array([1.0, 2.0]))
    >>> column.add_at(1, np.array([0.5, 3.0]))
    >>> column.values.tolist(), len(column)
    ([1.0, 2.5, 3.0], 3)
    """

    def __init__(self) -> None:
        self._buffer = array("d")

    def __len__(self) -> int:
        return len(self._buffer)

    def extend(self, values: NDArray[np.float64] | NDArray[np.int64]) -> None:
        """Append ``values``."""
        self._buffer.frombytes(np.ascontiguousarray(values, dtype=np.float64).tobytes())

    def add_at(self, first: int, values: NDArray[np.float64]) -> None:
        """Add ``values`` to those from position ``first`` on; positions not there yet count as 0."""
        missing = first + len(values) - len(self._buffer)
        if missing > 0:
            self._buffer.frombytes(bytes(8 * missing))
        view = np.frombuffer(self._buffer)
        view[first : first + len(values)] += values

    def thin(self, width: int) -> None:
        """Keep every other row of ``width`` numbers."""
        kept = self.values.reshape(-1, width)[::2]
        self._buffer = array("d", kept.tobytes())

    @property
    def values(self) -> NDArray[np.float64]:
        """A copy of the numbers."""
        return np.frombuffer(self._buffer).copy() if self._buffer else np.empty(0)

    @property
    def integers(self) -> NDArray[np.int64]:
        """A copy of the numbers, which are whole."""
        return self.values.astype(np.int64)
