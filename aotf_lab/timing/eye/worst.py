"""The least and the most light that any pattern of bits can make: peak distortion, exact.

For equal edges the light of a bit is its own pulse plus those of all others, and the worst pattern is the one in which
every other pulse has the sign that hurts: full pulse less the sum of |ISI| (peak distortion; Lucky, Salz & Weldon,
Principles of Data Communication (1968), from memory). With a rise unlike the fall the light is no sum over bits but
over changes of bits, so the worst pattern is found by carrying, from change to change, the extreme light of all
patterns that end on 0 and of all that end on 1: exact, whatever the edges, and the same number for equal ones. Jitter
moves every edge by up to three times its rms, each in the direction that hurts.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from aotf_lab.timing.eye.channel import Channel, FloatArray

__all__ = ["JITTER_REACH", "extreme_light", "isi_sum"]

JITTER_REACH = 3.0
"""How many rms jitters early or late an edge counts with: 0.3 % of the edges are further off."""


def extreme_light(channel: Channel, time_us: FloatArray, bit_us: float, bit: Literal[0, 1]) -> FloatArray:
    """Return the worst light (n,) at ``time_us`` (n,) after the start of a bit: least for a 1, most for a 0.

    The bit lasts from 0 to ``bit_us`` (us, counted at the beam, the sound's delay taken off); all other bits are free.
    """
    t = np.asarray(time_us, dtype=float)
    worse = np.minimum if bit == 1 else np.maximum
    late = JITTER_REACH * channel.jitter_us * (1 if bit == 1 else -1)
    reach = int(np.ceil((channel.memory_us + abs(late)) / bit_us)) + 1
    on, off = np.ones_like(t), np.zeros_like(t)
    never = np.full_like(t, np.inf if bit == 1 else -np.inf)
    for k in range(-reach, reach + 2):
        since = t - k * bit_us
        on, off = worse(on, off + channel.up(since - late)), worse(off, on - channel.down(since + late))
        if k == 0:
            on, off = (on, never) if bit == 1 else (never, off)
    return channel.lit(worse(on, off))


def isi_sum(channel: Channel, time_us: float, bit_us: float) -> tuple[float, float]:
    """Return a bit's own pulse and the sum of |ISI| of all others at ``time_us``, shares of the swing, equal edges.

    >>> own, others = isi_sum(Channel(1.6, 1.6, 1e9), 1.0, 2.0)
    >>> round(own + others, 9)
    1.0
    """
    reach = int(np.ceil(channel.memory_us / bit_us)) + 1
    since = time_us - np.arange(-reach, reach + 1) * bit_us
    pulse = channel.up(since) - channel.up(since - bit_us)
    return float(pulse[reach]), float(np.abs(np.delete(pulse, reach)).sum())
