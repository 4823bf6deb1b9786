"""Up and down in one file without a column that says so: seen in a clean rise and fall of what was set."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["turn_of"]

_LEAST_ROWS = 3
_LEAST_SHARE_OF_RANGE = 0.8
_LEAST_SHARE_OF_STEPS = 0.9


def turn_of(values: NDArray[np.float64]) -> tuple[int, str] | None:
    """Return the position of the first row of the second leg, and the direction of the first leg.

    None unless the values rise cleanly and then fall (or the reverse): each leg at least three rows,
    80 % of the range, and 90 % of its steps the right way (limits of our own; steps of 0 count for neither).

    >>> turn_of(np.array([1.0, 2, 3, 4, 3, 2, 1]))
    (4, 'up')
    >>> turn_of(np.array([1.0, 2, 3, 4, 5, 6, 7])) is None
    True
    """
    if len(values) < 2 * _LEAST_ROWS or not np.all(np.isfinite(values)):
        return None
    span = float(np.ptp(values))
    for sign, word in ((1.0, "up"), (-1.0, "down")):
        turn = int(np.argmax(sign * values)) + 1
        first, second = sign * values[:turn], -sign * values[turn - 1 :]
        if len(first) >= _LEAST_ROWS and len(second) > _LEAST_ROWS and _rises(first, span) and _rises(second, span):
            return turn, word
    return None


def _rises(leg: NDArray[np.float64], span: float) -> bool:
    steps = np.diff(leg)
    moving = steps[steps != 0.0]
    return bool(
        moving.size
        and leg[-1] - leg[0] >= _LEAST_SHARE_OF_RANGE * span
        and np.mean(moving > 0.0) >= _LEAST_SHARE_OF_STEPS
    )
