"""The times of a trace: are they even, how fast was it sampled, and where does a frequency fold to?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Sampling", "folded", "sampling"]

Floats = NDArray[np.float64]

_UNEVEN = 0.25
"""A sample further than this share of the interval from its place on an even grid is uneven."""


@dataclass(frozen=True)
class Sampling:
    """How a trace was sampled.

    ``time_us`` (n,) are the times to fit at: those of the file, or an even grid where the file's stamps
    differ from one by their rounding only (``rounded``). ``interval_us`` is the even interval, ``uneven`` the
    positions (0-based) of samples that stand off the grid by more than the rounding of the stamps.
    """

    time_us: Floats
    interval_us: float
    rounded: bool
    uneven: NDArray[np.int64]

    @property
    def rate_mhz(self) -> float:
        """Samples per microsecond."""
        return 1.0 / self.interval_us


def sampling(time_us: Floats) -> Sampling:
    """Return how the rising times ``time_us`` (n,), n > 2, were sampled."""
    steps = np.diff(time_us)
    interval = float(np.median(steps))
    count = np.arange(time_us.size)
    even = time_us[0] + count * ((time_us[-1] - time_us[0]) / (time_us.size - 1))
    off = np.abs(time_us - even)
    # Stamps printed with few digits are off by half of the last digit, and their steps are whole multiples of it.
    resolution = float(np.min(steps[steps > 0])) if np.any(steps > 0) else 0.0
    whole = np.allclose(steps / resolution, np.round(steps / resolution), atol=1e-3) if resolution > 0 else False
    rounding_only = bool(off.max() <= 0.75 * resolution and whole and np.ptp(steps) <= 1.5 * resolution)
    mean = float(time_us[-1] - time_us[0]) / (time_us.size - 1)
    if rounding_only:
        return Sampling(even, mean, bool(off.max() > 1e-6 * mean), np.array([], dtype=np.int64))
    bad = np.flatnonzero(np.abs(steps - interval) > _UNEVEN * interval) + 1
    return Sampling(time_us, interval if bad.size else mean, False, bad)


def folded(frequency_mhz: float, rate_mhz: float) -> float:
    """Return the frequency (MHz) as which a sampler of ``rate_mhz`` shows ``frequency_mhz``.

    Oppenheim and Schafer, Discrete-Time Signal Processing, section 4.2: |f - k rate| with the nearest k.

    >>> round(folded(64.0, 50.0), 6)
    14.0
    """
    return abs(frequency_mhz - rate_mhz * round(frequency_mhz / rate_mhz))
