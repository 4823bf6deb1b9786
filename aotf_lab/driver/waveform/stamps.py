"""Time stamps that were rounded when they were printed: the even grid behind them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

__all__ = ["even_intervals", "stamp_half_digits"]

Floats = NDArray[np.float64]

_DIGITS = range(3, 14)
_FIRST = 16
_ROUNDS = 60


def stamp_half_digits(time_us: Floats) -> Iterator[Floats]:
    """Yield what half of the last printed digit (us) of each of ``time_us`` (n,) may be.

    Stamps with a fixed number of decimals share one last digit, which may count in ones, twos or fives; those with
    an exponent have a fixed number of significant digits, and the last one is worth less near zero.
    """
    largest = float(np.max(np.abs(time_us)))
    top = int(np.ceil(np.log10(largest))) if largest > 0 else 0
    fixed = (count * 10.0**power for power in range(top, top - max(_DIGITS), -1) for count in (5.0, 2.0, 1.0))
    yield from (np.full(time_us.size, 0.5 * digit) for digit in _first(fixed, time_us))
    with np.errstate(divide="ignore"):
        decade = np.where(time_us == 0.0, top, np.floor(np.log10(np.abs(time_us)) + 1e-12))
    significant = (10.0 ** (decade - digits + 1) for digits in _DIGITS)
    yield from (0.5 * digit for digit in _first(significant, time_us))


def _first(digits: Iterable[Any], time_us: Floats) -> Iterator[Any]:
    """Yield the first of ``digits``, scalars or (n,), of which all times are whole multiples; nothing where none is."""
    yield from itertools.islice((digit for digit in digits if _whole(time_us / digit)), 1)


def _whole(values: Floats) -> bool:
    return bool(np.max(np.abs(values - np.round(values)) - 1e-9 * np.abs(values)) < 1e-3)


def even_intervals(time_us: Floats, half_us: Floats) -> tuple[float, float, float] | None:
    """Return first time and interval of an even grid that rounds to ``time_us``, and half the range of the interval.

    Each stamp lies within ``half_us`` (n,) of the grid: a linear programme in two unknowns, solved on the stamps
    that bind. None where no even grid fits.
    """
    count = np.arange(time_us.size, dtype=np.float64)
    slack = half_us * (1.0 + 1e-6) + 1e-12 * np.max(np.abs(time_us))
    slope, start = np.polyfit(count, time_us, 1)
    scale = float(np.max(slack))
    gap = (time_us - start - slope * count) / scale  # the unknowns are counted from the straight line
    reach, room = count / count[-1], slack / scale
    least, most = _extreme(reach, gap, room, 1.0), _extreme(reach, gap, room, -1.0)
    if least is None or most is None:
        return None
    low, high = (end * scale / count[-1] for end in (least[1], most[1]))
    first = start + 0.5 * (least[0] + most[0]) * scale
    return float(first), float(slope + 0.5 * (low + high)), float(0.5 * (high - low))


def _extreme(reach: Floats, gap: Floats, room: Floats, sign: float) -> Floats | None:
    """Return offset and slope that keep |gap - offset - slope reach| <= room, with the least or largest slope."""
    active = np.unique(np.linspace(0, gap.size - 1, min(_FIRST, gap.size)).astype(int))
    for _ in range(_ROUNDS):
        rows = np.column_stack((np.ones(active.size), reach[active]))
        found = linprog(
            (0.0, sign), np.vstack((rows, -rows)),
            np.concatenate((gap[active] + room[active], room[active] - gap[active])), bounds=((None, None),) * 2,
        )  # fmt: skip
        if not found.success:
            return None
        line: Floats = np.asarray(found.x, dtype=np.float64)
        over = np.abs(gap - line[0] - line[1] * reach) - room
        worst = np.argsort(over)[-_FIRST:]
        worst = worst[over[worst] > 1e-7]
        if worst.size == 0:
            return line
        active = np.union1d(active, worst)
    return None
