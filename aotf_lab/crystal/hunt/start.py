"""From places that stand out to the first values of their peaks."""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.hunt.seeds import Seed
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["as_parameters", "first_of_each", "leaders"]

_LEADER = 0.17
"""Share of a higher neighbour above which a place cannot be that one's sidelobe (-7.7 dB)."""

_CLEAR = 25.0


def leaders(seeds: list[Seed], table: HuntTable) -> list[Seed]:
    """Return the seeds that are no sidelobe, no trail and no echo of the search beside a higher one."""
    shortest = 4.0 * table.step_mhz

    def beside(seed: Seed, other: Seed) -> bool:
        reach = 6.0 * max(other.fwhm_mhz, shortest)
        return other.height_mw * _LEADER > seed.height_mw and abs(other.frequency_mhz - seed.frequency_mhz) < reach

    return [s for s in seeds if not any(beside(s, o) for o in seeds)]


def first_of_each(seeds: list[Seed]) -> list[Seed]:
    """Return the surest of each group of neighbours."""
    kept: list[Seed] = []
    for seed in seeds:
        if all(abs(seed.frequency_mhz - k.frequency_mhz) > 1.5 for k in kept):
            kept.append(seed)
    return kept


def as_parameters(seed: Seed, table: HuntTable, rest_mw: FloatArray, lag: float) -> FloatArray:
    """Return the start of a peak's parameters: ahead of its trail, and without the width that the trail adds."""
    row = int(np.argmin(np.abs(table.frequency_mhz - seed.frequency_mhz)))
    leg = next(s for s in table.legs if s.start <= row < s.stop)
    f = table.frequency_mhz[leg]
    way = float(np.sign(f[-1] - f[0]))
    width, height = seed.fwhm_mhz, seed.height_mw
    if seed.z > _CLEAR:
        width, height = _half_width(rest_mw[leg], row - leg.start) * table.step_mhz, float(rest_mw[row])
    trail = lag * table.step_mhz
    narrow = max(width**2 - (1.4 * trail) ** 2, (0.4 * width) ** 2, (1.2 * table.step_mhz) ** 2) ** 0.5
    centre = seed.frequency_mhz - way * min(0.8 * trail, 0.6 * width)
    return np.array([centre, np.log(narrow), height * width / narrow, 0.3])


def _half_width(rest_mw: FloatArray, row: int) -> float:
    """Return the width in rows at half of the height of ``row``, read off the readings."""
    half = 0.5 * rest_mw[row]
    below = np.flatnonzero(rest_mw[:row][::-1] < half)
    above = np.flatnonzero(rest_mw[row + 1 :] < half)
    return float((below[0] if below.size else row) + (above[0] if above.size else len(rest_mw) - 1 - row) + 1)
