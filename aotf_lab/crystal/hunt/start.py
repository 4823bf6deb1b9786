"""From places that stand out to the first values of their peaks."""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.hunt.seeds import Seed
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["as_parameters", "first_of_each", "leaders"]

_ABOVE_LOBE = 1.5
"""By how much a place must be higher than a sidelobe there could be to start a peak of its own."""

_CLEAR = 25.0


def leaders(seeds: list[Seed], table: HuntTable, rest_mw: FloatArray) -> list[Seed]:
    """Return the seeds that are higher than any sidelobe or trail of a higher one at their place could be.

    The tops of the sidelobes lie on q^2/(q^2 + D^2), here at full drive.
    """
    width = {id(s): _width(s, table, rest_mw) for s in seeds}

    def beside(seed: Seed, other: Seed) -> bool:
        away = abs(other.frequency_mhz - seed.frequency_mhz) / width[id(other)]
        lobes = 1.0 / (1.0 + 2.6 * away * away)
        hidden = away < 0.9 or seed.height_mw < _ABOVE_LOBE * other.height_mw * lobes
        return seed.height_mw < other.height_mw and hidden

    return [s for s in seeds if not any(beside(s, o) for o in seeds if o is not s)]


def _width(seed: Seed, table: HuntTable, rest_mw: FloatArray) -> float:
    """Return the FWHM (MHz) of a place, read off the readings where it is clear."""
    if seed.z < _CLEAR:
        return max(seed.fwhm_mhz, 2.0 * table.step_mhz)
    row = int(np.argmin(np.abs(table.frequency_mhz - seed.frequency_mhz)))
    leg = next(s for s in table.legs if s.start <= row < s.stop)
    return _half_width(rest_mw[leg], row - leg.start) * table.step_mhz


def first_of_each(seeds: list[Seed]) -> list[Seed]:
    """Return the surest of each group of neighbours, those left out that a surer one elsewhere may have caused."""
    kept: list[Seed] = []
    seeds = [s for s in seeds if s.z > 0.2 * seeds[0].z] if seeds else []
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
