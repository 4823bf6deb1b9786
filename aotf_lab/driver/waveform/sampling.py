"""The times of a trace: are they even, how fast was it sampled, and where does a frequency fold to?"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.waveform.stamps import even_intervals, stamp_half_digits

__all__ = ["Sampling", "folded", "sampling", "unfolded"]

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

_UNEVEN = 0.25
"""A sample that follows the one before by an interval wrong by more than this share is uneven."""
_SAME = 1e-6
_NONE: Rows = np.array([], dtype=np.int64)


@dataclass(frozen=True)
class Sampling:
    """How a trace was sampled.

    ``time_us`` (n,) are the times to fit at: those of the file, or an even grid where the file's stamps
    differ from one by their rounding only (``rounded``). ``interval_us`` is the even interval and ``u_interval``
    its relative standard uncertainty from that rounding. ``uneven`` are the positions (0-based) of samples that
    stand off the grid by more than the rounding of the stamps, ``gaps`` of those that follow missing samples.
    """

    time_us: Floats
    interval_us: float
    rounded: bool = False
    u_interval: float = 0.0
    uneven: Rows = field(default_factory=_NONE.copy)
    gaps: Rows = field(default_factory=_NONE.copy)

    @property
    def rate_mhz(self) -> float:
        """Samples per microsecond."""
        return 1.0 / self.interval_us

    @property
    def span_us(self) -> float:
        """Time from the first sample to the last (us)."""
        return float(self.time_us[-1] - self.time_us[0])


def sampling(time_us: Floats) -> Sampling:
    """Return how the times ``time_us`` (n,), n > 2, were sampled; none falls, and the last is above the first."""
    mean = float(time_us[-1] - time_us[0]) / (time_us.size - 1)
    even: Floats = time_us[0] + mean * np.arange(time_us.size, dtype=np.float64)
    if np.max(np.abs(time_us - even)) <= max(_SAME * mean, 1e-15 * float(np.max(np.abs(time_us)))):
        return Sampling(even, mean)
    for half in stamp_half_digits(time_us):
        near = bool(np.all(np.abs(time_us - even) <= 2.0 * half + _SAME * mean))
        grid = even_intervals(time_us, half) if near else None
        if grid is not None:
            first, interval, reach = grid
            even = first + interval * np.arange(time_us.size, dtype=np.float64)
            return Sampling(even, interval, True, reach / 3.0**0.5 / interval)
    return _with_gaps(time_us)


def _with_gaps(time_us: Floats) -> Sampling:
    """Return the sampling of times that are not even: whole intervals that are missing, and other steps."""
    steps = np.diff(time_us)
    interval = float(np.median(steps[steps > 0]))
    whole = np.maximum(np.round(steps / interval), 1.0)
    off = np.abs(steps - whole * interval) > _UNEVEN * interval
    # The median is a printed step; the mean over all whole ones is not rounded.
    interval = float(np.sum(steps[~off]) / np.sum(whole[~off])) if np.any(~off) else interval
    return Sampling(
        time_us, interval, uneven=np.flatnonzero(off) + 1, gaps=np.flatnonzero(~off & (whole > 1.0)) + 1,
    )  # fmt: skip


def folded(frequency_mhz: float, rate_mhz: float) -> float:
    """Return the frequency (MHz) as which a sampler of ``rate_mhz`` shows ``frequency_mhz``.

    Oppenheim and Schafer, Discrete-Time Signal Processing, section 4.2: |f - k rate| with the nearest k.

    >>> round(folded(64.0, 50.0), 6)
    14.0
    """
    return abs(frequency_mhz - rate_mhz * round(frequency_mhz / rate_mhz))


def unfolded(shown_mhz: float, rate_mhz: float, low_mhz: float, high_mhz: float) -> tuple[tuple[int, int], ...]:
    """Return every (k, sign) with k rate + sign shown from ``low_mhz`` to ``high_mhz``, lowest frequency first.

    >>> unfolded(14.0, 50.0, 44.0, 96.0)
    ((1, 1), (2, -1))
    """
    most = int(np.ceil(high_mhz / rate_mhz)) + 1
    places = [(k, sign) for k in range(most + 1) for sign in (-1, 1)]
    found = [(k, s) for k, s in places if low_mhz <= k * rate_mhz + s * shown_mhz <= high_mhz]
    return tuple(sorted(found, key=lambda p: p[0] * rate_mhz + p[1] * shown_mhz))
