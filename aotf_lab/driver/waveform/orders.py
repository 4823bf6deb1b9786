"""Which harmonics a sample rate can tell apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from aotf_lab.driver.waveform.sampling import Sampling, folded

__all__ = ["HIGHEST_ORDER", "Orders", "orders_apart"]

HIGHEST_ORDER = 5
_RESOLVED = 3.0
"""Two frequencies closer than this many over the length of the trace cannot be told apart."""


@dataclass(frozen=True)
class Orders:
    """Orders that can be fitted, 1 first, and each ``hidden`` one with the order that it folds onto.

    It is 0 for the offset and -1 for half of the sample rate.
    """

    fitted: tuple[int, ...]
    hidden: Mapping[int, int]


def orders_apart(frequency_mhz: float, grid: Sampling) -> Orders:
    """Return the orders 1 to 5 of ``frequency_mhz`` (as sampled) that the sampling tells from each other.

    >>> import numpy as np
    >>> orders_apart(0.25, Sampling(np.arange(400.0), 1.0))
    Orders(fitted=(1,), hidden={2: -1, 3: 1, 4: 0, 5: 1})
    """
    least = _RESOLVED / grid.span_us
    places = {0: 0.0, -1: 0.5 * grid.rate_mhz}
    fitted, hidden = [1], {}
    places[1] = folded(frequency_mhz, grid.rate_mhz)
    for order in range(2, HIGHEST_ORDER + 1):
        place = folded(order * frequency_mhz, grid.rate_mhz)
        near = [other for other, there in places.items() if abs(place - there) <= least]
        if near:
            hidden[order] = near[0]
        else:
            fitted.append(order)
            places[order] = place
    return Orders(tuple(fitted), hidden)
