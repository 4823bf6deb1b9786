"""What is seen of light that changes with the sound: a mean over the beam, a Gaussian in time.

The light sent is a staircase, c_j between the times s_j and s_j+1, so that the mean at t is the sum of c_j (F((s_j+1 -
t) / d) - F((s_j - t) / d)), F the normal distribution function. Times far closer together than the beam's deviation d
are gathered: a group of them acts by its mean, exactly, and by the moments of what departs from the mean, as a series
in its width over d (L. Greengard and J. Strain, The fast Gauss transform, SIAM J. Sci. Stat. Comput. 12, 79 (1991),
from memory). Up to the third moment the rest is below 1e-8 of the full light.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from aotf_lab.planning.sequence.port import FloatArray

__all__ = ["through_beam"]

_WIDTH = 1.0 / 32.0
"""Width of a group over the beam's deviation."""


def through_beam(
    sent_us: FloatArray, light: FloatArray, before: FloatArray, after: FloatArray, seen_us: FloatArray,
    deviation_us: float,
) -> FloatArray:  # fmt: skip
    """Return what is seen (k, t) at ``seen_us`` (t,) of ``light`` (k, n - 1), steady between ``sent_us`` (n,) rising.

    ``before`` (k,) is the light until the first of these times, ``after`` (k,) that from the last on.

    >>> rise = through_beam(np.zeros(1), np.zeros((1, 0)), np.zeros(1), np.ones(1), np.array([-1.0, 0.0, 1.0]), 1.0)
    >>> rise.round(4).tolist()
    [[0.1587, 0.5, 0.8413]]
    """
    border = _borders(sent_us, _WIDTH * deviation_us)
    share = 0.5 + 0.5 * erf((sent_us[border][:, None] - seen_us) / (math.sqrt(2.0) * deviation_us))
    seen = np.outer(before, share[0]) + np.outer(after, 1.0 - share[-1])
    if len(sent_us) == 1:
        return seen
    starts, count = border[:-1], np.diff(border)
    lasting = np.diff(sent_us)
    mean = np.add.reduceat(light * lasting, starts, axis=1) / np.diff(sent_us[border])
    seen += mean @ np.diff(share, axis=0)
    many = count > 1
    if many.any():
        centre = 0.5 * (sent_us[border[:-1]] + sent_us[border[1:]])
        from_centre = [(t - np.repeat(centre, count)) / deviation_us for t in (sent_us[:-1], sent_us[1:])]
        departs = light - np.repeat(mean, count, axis=1)
        x = (centre[many][:, None] - seen_us) / deviation_us
        square = x * x
        bell = np.exp(-0.5 * square) / math.sqrt(2.0 * math.pi)
        for m, slope in enumerate((-x, square - 1.0, (3.0 - square) * x), start=1):
            cell = (from_centre[1] ** (m + 1) - from_centre[0] ** (m + 1)) / math.factorial(m + 1)
            seen += np.add.reduceat(departs * cell, starts, axis=1)[:, many] @ (slope * bell)
    return seen


def _borders(sent_us: FloatArray, width_us: float) -> NDArray[np.intp]:
    """Return which of the times are borders: the first and the last of those within each ``width_us``."""
    bin_of = np.floor((sent_us - sent_us[0]) / width_us)
    changes = np.diff(bin_of) > 0
    return np.flatnonzero(np.append(True, changes) | np.append(changes, True))
