"""How finely a column is shown, how much it scatters, and how probable two equal readings are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.checks import SIGNIFICANCE

__all__ = ["Floats", "chance_limit", "chance_of_equal", "numbers", "resolution", "second_differences"]

Floats = NDArray[np.float64]

_DECIMALS = 10
_NO_READING = 1e60


def numbers(values: object) -> Floats:
    """Return a column as an array of floats, NaN beyond 1e60 and 0 below 1e-60: no meter shows either."""
    shown = np.asarray(values, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        shown = np.where(np.abs(shown) < _NO_READING, shown, np.nan)
        return np.asarray(np.where(np.abs(shown) < 1.0 / _NO_READING, 0.0, shown))


def chance_limit(questions: int) -> float:
    """Return the chance that each of ``questions`` may have, so that all together stay within ``SIGNIFICANCE``."""
    return SIGNIFICANCE / max(questions, 1)


def resolution(values: Floats) -> float:
    """Return the step in which a column is shown: a power of ten, else the smallest gap, 0 for a constant column.

    >>> resolution(np.array([3.25, 3.5, 4.0])), resolution(np.array([0.1 / 3, 0.2 / 3, 0.4 / 3])) < 0.034
    (0.01, True)
    """
    kept = values[np.isfinite(values)]
    if kept.size < 2 or np.ptp(kept) == 0:
        return 0.0
    size = float(np.max(np.abs(kept)))
    for decimals in range(-3, _DECIMALS):
        step = 10.0**-decimals
        if step < 1e-12 * size:
            break
        if np.all(np.abs(kept - step * np.round(kept / step)) < 1e-3 * step + 1e-14 * size) and step < 1.001 * np.ptp(
            kept
        ):
            return step
    gaps = np.diff(np.unique(kept))
    return float(np.min(gaps[gaps > 1e-12 * size], initial=np.inf)) if np.any(gaps > 1e-12 * size) else 0.0


def second_differences(values: Floats) -> Floats:
    """Return how far each inner reading lies from the mean of its two neighbours, scaled to one reading's scatter.

    A straight line leaves zero; white scatter of standard deviation s leaves s.
    """
    return np.asarray((values[1:-1] - 0.5 * (values[2:] + values[:-2])) / 1.5**0.5)


def chance_of_equal(values: Floats) -> float:
    """Return how probable it is that two readings of the same thing agree to the last digit, 1 when nothing tells.

    For a normal scatter s shown in steps q it is q / (2 sqrt(pi) s), the density of a difference at zero times q.
    The scatter is the smaller of that of the quieter half of the readings and of all of them, from differences to
    their neighbours; where many neighbours are equal (a meter read faster than it measures), that share counts.
    Right within a quarter from a scatter of two steps upwards.
    """
    kept = values[np.isfinite(values)]
    step = resolution(kept)
    if kept.size < 5 or step == 0:
        return 1.0
    quiet = np.sort(np.abs(second_differences(kept)))
    scatter = float(np.median(quiet[: max(3, quiet.size // 2)])) / 0.32  # a quarter of normal values lie within 0.32 s
    equal = float(np.mean(np.diff(kept) == 0))
    stutter = equal if equal > 0.25 else 0.0
    return float(min(1.0, max(step / (2.0 * np.pi**0.5 * max(scatter, step)), stutter, 1.0 / kept.size**2)))
