"""Where a trace goes from one level to the other, and about how fast: the first guess of every edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from aotf_lab.errors import FitError, Said
from aotf_lab.timing.edge.trace import FloatArray

__all__ = ["Levels", "Step", "find_steps"]

_SHARES = (0.3, 0.7)
_RISE_PER_WIDTH = 2.5631 / 1.0488
"""10 to 90 % of a Gaussian edge over 30 to 70 % of it."""
_QUIET = 0.08
"""How much a smoothed plateau may scatter, as a share of the step."""


@dataclass(frozen=True)
class Step:
    """One edge: its middle (us), its way, about its 10 to 90 % time (us)."""

    centre_us: float
    rising: bool
    rise_us: float


@dataclass(frozen=True)
class Levels:
    """The two levels (V) of a trace and its edges in order."""

    low_v: float
    high_v: float
    steps: tuple[Step, ...]


def find_steps(time_us: FloatArray, value_v: FloatArray, what: str) -> Levels:
    """Return the levels and edges of a trace that goes between two levels.

    It is smoothed, by as little as makes its plateaus quiet. Raises ``FitError`` when no smoothing shows two levels.
    """
    size = 1
    while size <= max(len(value_v) // 16, 1):
        smooth = uniform_filter1d(value_v, size, mode="nearest")
        low, high = (float(v) for v in np.percentile(smooth, (2.0, 98.0)))
        found = _steps(time_us, (smooth - low) / (high - low)) if high > low else ()
        if found:
            return Levels(low, high, found)
        size *= 2
    raise FitError(
        f"no edge between two levels in {what}", found=Said(f"{np.ptp(value_v):.3g} V from least to most"),
        allowed="two plateaus and at least one edge between them, well above the noise",
        cure="trigger on the drive, let the trace hold both plateaus, and raise the detector's gain or average",
    )  # fmt: skip


def _steps(time_us: FloatArray, share: FloatArray) -> tuple[Step, ...]:
    """Return the edges of a trace scaled to 0 and 1, none where its plateaus are not quiet."""
    low, high = share < _SHARES[0], share > _SHARES[1]
    for plateau in (low, high):
        if np.sum(plateau) < 8:
            return ()
        middle = np.median(share[plateau])
        if 1.4826 * np.median(np.abs(share[plateau] - middle)) > _QUIET:
            return ()
    known = np.flatnonzero(low | high)
    state = high[known]
    turns = np.flatnonzero(state[1:] != state[:-1])
    step_us = float(time_us[1] - time_us[0])
    steps = []
    for turn in turns:
        first, last = known[turn], known[turn + 1]
        rising = bool(state[turn + 1])
        inside = slice(first, last + 1)
        centre = float(np.interp(0.5, *_sorted(share[inside], time_us[inside], rising)))
        width = max(float(time_us[last] - time_us[first]) - step_us, 0.25 * step_us)
        steps.append(Step(centre, rising, _RISE_PER_WIDTH * width))
    return tuple(steps)


def _sorted(share: FloatArray, time_us: FloatArray, rising: bool) -> tuple[FloatArray, FloatArray]:
    """Return share and time with a share that never falls."""
    if rising:
        return np.maximum.accumulate(share), time_us
    return np.maximum.accumulate(share[::-1]), time_us[::-1]
