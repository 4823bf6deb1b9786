"""One more reading of level, on the run over the supply or on the run over the band."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from aotf_lab.driver.level import Level
from aotf_lab.driver.level.scale import PER_NEPER
from aotf_lab.planning.next_reading.look import Candidate, Look

__all__ = ["KIND", "level_readings"]

KIND = "level reading"
_SUPPLIES, _FREQUENCIES = 15, 41
_UNSTATED = 0.02


def level_readings(level: Level) -> Iterator[Candidate]:
    """Yield 15 supplies at the frequency of the one run, and 41 frequencies at the supply of the other.

    Each run makes a curve of its own, so a reading of one tells nothing of the other; readings elsewhere make no part
    of the fit. Scope, pad and load are those of the curve: their errors are in every
    reading alike.
    """
    along, shape = level.along_supply, level.over_band
    v = np.concatenate([np.linspace(*level.range_v, _SUPPLIES), np.full(_FREQUENCIES, level.band_run.setting)])
    f = np.concatenate([np.full(_SUPPLIES, level.supply_run.setting), np.linspace(*level.range_mhz, _FREQUENCIES)])
    weights = np.zeros((len(v), len(level.numbers.factor)))
    supply, band = slice(None, _SUPPLIES), slice(_SUPPLIES, None)
    first = len(along.numbers)
    weights[supply, :first] = along.db_rows(v[supply])
    weights[band, first : first + len(shape.nodes)] = shape.rows(f[band])
    shown = level.numbers.combine(level.nominal_db(v, f), weights)
    rows = level.rows
    u = _UNSTATED if rows.u_power_w is None else float(np.median(rows.u_power_w / rows.power_w))
    of_supply = along.fit.birge if along.fit is not None else 1.0
    noise = np.full(len(v), PER_NEPER * u * of_supply)
    noise[band] = shape.birge * float(np.median(shape.spread))
    for volts, mhz, s, n in zip(v.tolist(), f.tolist(), shown, noise.tolist(), strict=True):
        yield Candidate(KIND, f"read the level at {volts:.3g} V and {mhz:.3g} MHz", (Look(s, n),), 1, (volts, mhz))
