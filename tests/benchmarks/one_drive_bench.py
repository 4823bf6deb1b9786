"""A simulated bench with seven lines for one drive: amplifier, saturation powers, what is measured of both.

Written without the package's own laws of efficiency; the amplifier is that of ``level_bench``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from aotf_lab.crystal import fit_efficiency_lines
from aotf_lab.driver.level import fit_level, safe_supply
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.planning import Curves
from aotf_lab.reading.readings import Readings
from tests.benchmarks.level_bench import (
    BAND_MHZ,
    BAND_SUPPLY_V,
    FINE_MHZ,
    RUN_MHZ,
    SUPPLIES_V,
    U_READING,
    U_SCALE,
    Bench,
    highest_w,
    some_bench,
)

Floats = NDArray[np.float64]

LINES = {
    "A": (449.72, 93.21), "B": (473.19, 86.34), "C": (518.05, 75.98), "D": (556.42, 69.08), "E": (589.12, 64.23),
    "F": (637.53, 58.26), "G": (671.29, 54.76),
}  # fmt: skip
"""Vacuum wavelength (nm) and frequency (MHz) of each line, taken as known: an error of them costs next to no light."""

MEASURED = {"B": 0.42, "E": 1.5, "G": 0.8}
"""Lines whose efficiency is measured, and how far: RF power over the saturation power."""

POINTS, U_POWER = 15, 0.008


@dataclass(frozen=True)
class Peak:
    """Stands for a scan of a line: its peak."""

    centre_mhz: UFloat


@dataclass(frozen=True)
class DriveTruth:
    """Amplifier, true saturation power (W) and peak efficiency of each line, and the crystal's rating."""

    amplifier: Bench
    saturation_w: dict[str, float]
    peak: dict[str, float]
    rated_w: float

    def efficiency(self, supply_v: Floats) -> Floats:
        """Return the true efficiency (lines, n) at ``supply_v`` (n,)."""
        rows = []
        for name, (_, mhz) in LINES.items():
            power = self.amplifier.matched_w(supply_v, np.full(len(supply_v), mhz))
            rows.append(self.peak[name] * np.sin(np.pi / 2 * np.sqrt(power / self.saturation_w[name])) ** 2)
        return np.array(rows)


def some_truth(rng: np.random.Generator, peak_spread: float) -> DriveTruth:
    """Return a bench whose lines' peak efficiencies scatter by ``peak_spread`` about a common one."""
    amplifier = some_bench(rng, str(rng.choice(["output", "drive"])), mismatch=False)
    middle, exponent, common = rng.uniform(0.18, 0.42), rng.normal(2.2, 0.25), rng.uniform(0.75, 0.9)
    saturation = {n: float(middle * (nm / 589.0) ** exponent) for n, (nm, _) in LINES.items()}
    peak = {n: float(min(common * (1 + peak_spread * rng.normal()), 0.99)) for n in LINES}
    rated = float(rng.uniform(highest_w(amplifier, 8.0), highest_w(amplifier, 10.5)))
    return DriveTruth(amplifier, saturation, peak, rated)


def known_of(rng: np.random.Generator, truth: DriveTruth) -> Curves:
    """Return what a session learns of the bench: level, safe supply, efficiency, all read with one scope."""
    common = tuple(CommonError(n, "rf_power_w", "relative", new_cause(n, u), s) for n, (u, s) in U_SCALE.items())
    level = fit_level([_level_part(rng, truth, common, v, f) for v, f in (
        (BAND_SUPPLY_V + 0 * BAND_MHZ, BAND_MHZ), (SUPPLIES_V, RUN_MHZ + 0 * SUPPLIES_V))])  # fmt: skip
    lines = {
        name: (_efficiency_part(rng, truth, common, name, reach), LINES[name][0]) for name, reach in MEASURED.items()
    }
    safe = safe_supply(level, truth.rated_w, crystal_return_loss_db=60.0, source_return_loss_db=60.0)
    scans = {name: Peak(ufloat(mhz, 0.002)) for name, (_, mhz) in LINES.items()}
    return Curves(None, None, fit_efficiency_lines(lines), scans, truth.rated_w, level=level, safe=safe)


def too_hot(truth: DriveTruth, supply_v: float) -> bool:
    """Return whether the true power exceeds the rating anywhere in the band."""
    return bool(np.max(truth.amplifier.forward_w(supply_v, FINE_MHZ)) > truth.rated_w)


def _level_part(
    rng: np.random.Generator, truth: DriveTruth, common: tuple[CommonError, ...], v: Floats, f: Floats
) -> Readings:
    power = truth.amplifier.indicated_w(v, f) * (1 + U_READING * rng.standard_normal(len(v)))
    columns = {"supply_v": v, "frequency_mhz": f, "rf_power_w": power, "u_rf_power_w": U_READING * power}
    return Readings(pd.DataFrame(columns), common)


def _efficiency_part(
    rng: np.random.Generator, truth: DriveTruth, common: tuple[CommonError, ...], name: str, reach: float
) -> Readings:
    ratio = np.linspace(reach / POINTS, reach, POINTS)
    shown = ratio * truth.saturation_w[name] / truth.amplifier.scale * (1 + U_POWER * rng.standard_normal(POINTS))
    light = truth.peak[name] * np.sin(np.pi / 2 * np.sqrt(ratio)) ** 2
    seen = light + (0.005 * light + 0.003) * rng.standard_normal(POINTS)
    u = 0.005 * np.abs(seen) + 0.003
    table = {"rf_power_w": shown, "u_rf_power_w": U_POWER * shown, "efficiency": seen, "u_efficiency": u}
    return Readings(pd.DataFrame(table), common)
