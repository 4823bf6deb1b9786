"""How far the eye is open at one bit rate, over all patterns of bits: up and down, and left and right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.timing.eye.channel import Channel, FloatArray
from aotf_lab.timing.eye.worst import extreme_light

__all__ = ["Openings", "eye_lines", "openings"]

_PHASES = 401


@dataclass(frozen=True)
class Openings:
    """The worst eye of bits of ``bit_us``, made by ``openings``.

    ``vertical`` is the least light of a 1 less the most of a 0, as a share of the light when on, with every edge up to
    three rms jitters off; negative where the eye is shut. ``horizontal`` is the share of the bit in which both stay on
    their side of ``threshold`` (a share of the light when on). Sample at ``sample_us`` after the
    start of the bit at the beam. ``least_on`` and ``most_off`` are the two levels there.
    """

    bit_us: float
    vertical: float
    horizontal: float
    sample_us: float
    threshold: float
    least_on: float
    most_off: float


def eye_lines(channel: Channel, time_us: FloatArray, bit_us: float) -> tuple[FloatArray, FloatArray]:
    """Return the least light of a 1 and the most light of a 0, each (n,), at ``time_us`` (n,) within the bit."""
    return extreme_light(channel, time_us, bit_us, 1), extreme_light(channel, time_us, bit_us, 0)


def openings(channel: Channel, bit_us: float) -> Openings:
    """Return how far the eye is open with bits of ``bit_us`` (us), over all patterns."""
    middle = 0.5 * bit_us
    wing = middle + 2.0 * channel.deviation_us
    t = middle + np.linspace(-wing, wing, _PHASES)
    least, most = eye_lines(channel, t, bit_us)
    best = np.flatnonzero(least - most >= (least - most).max() - 1e-12)
    k = int(best[len(best) // 2])
    threshold = float(0.5 * (least[k] + most[k]))
    span = _span(t, np.minimum(least - threshold, threshold - most), k)
    return Openings(
        bit_us, float(least[k] - most[k]), span / bit_us, float(t[k]), threshold, float(least[k]), float(most[k])
    )


def _span(t: FloatArray, margin: FloatArray, k: int) -> float:
    """Return how long ``margin`` (n,) stays above zero around index ``k``, between the grid by straight lines."""
    if margin[k] <= 0:
        return 0.0
    left = k
    while left > 0 and margin[left - 1] > 0:
        left -= 1
    right = k
    while right < len(t) - 1 and margin[right + 1] > 0:
        right += 1
    start, stop = float(t[left]), float(t[right])
    step = float(t[1] - t[0])
    if left > 0:
        start -= step * float(margin[left] / (margin[left] - margin[left - 1]))
    if right < len(t) - 1:
        stop += step * float(margin[right] / (margin[right] - margin[right + 1]))
    return stop - start
