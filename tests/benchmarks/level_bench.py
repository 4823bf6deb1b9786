"""A simulated amplifier, scope and crystal for the safe supply: truth, readings, what the drive really is.

Written without the package's own laws: the formulas stand here once more, and some are none of the package's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.reading.readings import Readings

Floats = NDArray[np.float64]

U_SCALE = {"scope gain": (0.025, 2.0), "pad": (0.023, 1.0), "load": (0.010, -1.0)}
"""Shared causes of the power scale: relative standard uncertainty, and how it enters power."""

U_READING = 0.012
SUPPLIES_V = np.array([4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 10.5, 11.0])
BAND_MHZ = np.arange(44.0, 97.0, 2.0)
BAND_SUPPLY_V, RUN_MHZ = 8.0, 64.0
FINE_MHZ = np.linspace(44.0, 96.0, 521)


@dataclass(frozen=True)
class Bench:
    """One bench; ``kind`` says how its amplifier gives way, reflections are those of amplifier, load and crystal."""

    kind: str
    gain: float
    threshold_v: float
    bow_db: float
    bow_mhz: float
    ripple_db: float
    ripple_mhz: float
    ripple_phase: float
    top_w: float
    sharpness: float
    scale: float
    source: float
    load: float
    crystal: float
    delays: tuple[float, float]
    phases: tuple[float, float]

    def shape(self, f: Floats) -> Floats:
        """Return the band's shape as a factor on power."""
        bow = self.bow_db * ((f - self.bow_mhz) / 25.0) ** 2
        return np.asarray(10 ** (-(bow + self.ripple_db * np.sin(f / self.ripple_mhz + self.ripple_phase)) / 10))

    def matched_w(self, v: Floats | float, f: Floats) -> Floats:
        """Return the true power into a load without reflection."""
        above = np.asarray(v) - self.threshold_v
        if self.kind == "soft":  # starts softly, and goes on rising: no law of the package
            return np.asarray(
                self.gain * np.log1p(np.exp(above)) ** 2 * (1 + 0.02 * np.asarray(v) ** 1.5) * self.shape(f)
            )
        drive = self.gain * np.maximum(above, 0.0) ** 2
        n = self.sharpness
        if self.kind == "output":  # gives way at one output, whatever the frequency
            x = drive * self.shape(f)
            return np.asarray(x / (1 + (x / self.top_w) ** n) ** (1 / n))
        if self.kind == "drive":  # gives way at one drive
            return np.asarray(drive / (1 + (drive / self.top_w) ** n) ** (1 / n) * self.shape(f))
        bent = self.top_w * np.tanh(np.sqrt(drive / self.top_w)) ** 2  # no law of the package
        return np.asarray(bent * self.shape(f))

    def _with(self, reflection: float, k: int, f: Floats) -> Floats:
        turn = np.exp(1j * (2 * np.pi * f * self.delays[k] + self.phases[k]))
        return np.asarray(np.abs(1 - self.source * reflection * turn) ** -2.0)

    def indicated_w(self, v: Floats | float, f: Floats) -> Floats:
        """Return what the scope shows of the power in the load, without noise."""
        return np.asarray(self.matched_w(v, f) * self._with(self.load, 0, f) / self.scale)

    def forward_w(self, v: Floats | float, f: Floats) -> Floats:
        """Return the true forward power at the crystal."""
        return np.asarray(self.matched_w(v, f) * self._with(self.crystal, 1, f))


def some_bench(rng: np.random.Generator, kind: str, *, mismatch: bool) -> Bench:
    scale = float(1 + sum(s * rng.normal(0, u) for u, s in U_SCALE.values()))
    source, load, crystal = (0.178, 0.05, 0.4) if mismatch else (0.0, 0.0, 0.0)
    delays, phases = rng.uniform(0.01, 0.06, 2), rng.uniform(0, 2 * np.pi, 2)
    return Bench(
        kind, rng.uniform(0.008, 0.018), rng.uniform(2.5, 3.6), rng.uniform(0.3, 1.5), rng.uniform(50, 80),
        rng.uniform(0.1, 0.5), rng.uniform(2.5, 6.0), rng.uniform(0, 2 * np.pi), rng.uniform(0.7, 2.5),
        rng.uniform(2.0, 8.0), scale, source, load, crystal, (delays[0], delays[1]), (phases[0], phases[1]),
    )  # fmt: skip


def measured(rng: np.random.Generator, bench: Bench) -> list[Readings]:
    """Return the readings over the band and over the supply."""
    common = [CommonError(n, "rf_power_w", "relative", new_cause(n, u), s) for n, (u, s) in U_SCALE.items()]
    if bench.source:
        u = 2**0.5 * bench.source * bench.load
        common.append(CommonError("mismatch", "rf_power_w", "relative", new_cause("mismatch", u)))
    parts = []
    for v, f in ((BAND_SUPPLY_V + 0 * BAND_MHZ, BAND_MHZ), (SUPPLIES_V, RUN_MHZ + 0 * SUPPLIES_V)):
        ideal = bench.indicated_w(v, f)
        power = ideal * (1 + U_READING * rng.standard_normal(len(v)))
        columns = {"supply_v": v, "frequency_mhz": f, "rf_power_w": power, "u_rf_power_w": U_READING * power}
        parts.append(Readings(pd.DataFrame(columns), tuple(common)))
    return parts


def highest_w(bench: Bench, supply_v: float) -> float:
    """Return the largest true forward power in the band at a supply."""
    return float(np.max(bench.forward_w(supply_v, FINE_MHZ)))


def best_supply(bench: Bench, limit_w: float) -> float:
    """Return the supply at which the true power just meets the limit, for one who knows everything."""
    grid = np.linspace(SUPPLIES_V[0], SUPPLIES_V[-1], 701)
    powers = np.max(bench.forward_w(grid[:, None], FINE_MHZ[None, :]), axis=1)
    return float(np.interp(limit_w, np.maximum.accumulate(powers), grid))
