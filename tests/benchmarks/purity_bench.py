"""Simulated pairs of lines with known truth for passbands and crosstalk, and readings of a line on and off.

Scans come from ``scan_bench``; coupled waves with another lean, a bend of the mismatch, and a drive read with a scope
whose scale is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab import fit_efficiency_lines, fit_scan
from aotf_lab.crystal.passbands.passbands import Passbands, passbands
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.coupled_waves import diffraction_efficiency
from aotf_lab.reading.readings import Readings
from tests.benchmarks.scan_bench import LEANS, Scenario, Truth, grids, measured

Floats = NDArray[np.float64]

U_SCALE, U_POWER, POINTS = 0.056, 0.008, 15
WAVELENGTHS_NM = {"E": 589.12, "D": 586.0}


@dataclass(frozen=True)
class Pair:
    """Two neighbouring lines: their passbands, saturation powers (W), peak efficiencies; the mismatch's bend."""

    shapes: dict[str, Truth]
    saturation_w: dict[str, float]
    peak: dict[str, float]
    bend: float

    def efficiency(self, line: str, frequency_mhz: Floats, rf_power_w: float) -> Floats:
        """Return the true efficiency."""
        shape = self.shapes[line]
        away = frequency_mhz - shape.centre_mhz
        detuning = shape.per_mhz * away * (1.0 + self.bend * away / shape.centre_mhz)
        leaning = LEANS[shape.lean](detuning, shape.skew)
        return self.peak[line] * diffraction_efficiency(leaning, rf_power_w / self.saturation_w[line])


def some_pair(rng: np.random.Generator, lean: str) -> Pair:
    """Return two lines 0.10 to 0.20 MHz apart of one crystal."""
    centre, skew, width = rng.uniform(63.5, 64.5), rng.uniform(-0.12, 0.12), rng.uniform(0.25, 0.40)
    apart = rng.uniform(0.10, 0.20) * rng.choice([-1.0, 1.0])
    shapes = {
        name: Truth(centre + k * apart, width, skew, float(rng.choice([0.2, 0.6, 1.0, 1.3])), lean)
        for k, name in enumerate(WAVELENGTHS_NM)
    }
    level = rng.uniform(0.3, 0.6)
    saturation = {n: level * (nm / 589.12) ** 2 for n, nm in WAVELENGTHS_NM.items()}
    peak = {n: float(rng.uniform(0.75, 0.9)) for n in WAVELENGTHS_NM}
    return Pair(shapes, saturation, peak, float(rng.uniform(-0.15, 0.15)))


def known_of(rng: np.random.Generator, truth: Pair, scenario: Scenario) -> Passbands:
    """Return what scans and efficiencies of both lines say, all powers read with one scope."""
    scans = {}
    for name, shape in truth.shapes.items():
        tables = measured(scenario, shape, grids(scenario, shape, rng), rng)
        scans[name] = fit_scan(tables, drive_ratio=shape.drive if scenario.drive_told else None, line=name)
    scale = 1.0 + U_SCALE * float(rng.standard_normal())
    common = (CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", U_SCALE)),)
    lines = {
        n: (Readings(_drive_table(rng, truth.saturation_w[n], truth.peak[n], scale), common), nm)
        for n, nm in WAVELENGTHS_NM.items()
    }
    return passbands(scans, fit_efficiency_lines(lines))


def _drive_table(rng: np.random.Generator, saturation_w: float, peak: float, scale: float) -> pd.DataFrame:
    ratio = np.linspace(0.1, 1.5, POINTS)
    shown = ratio * saturation_w / scale * (1 + U_POWER * rng.standard_normal(POINTS))
    light = peak * np.sin(np.pi / 2 * np.sqrt(ratio)) ** 2
    u = 0.005 * light + 0.003
    return pd.DataFrame({"rf_power_w": shown, "u_rf_power_w": U_POWER * shown,
                         "efficiency": light + u * rng.standard_normal(POINTS), "u_efficiency": u})  # fmt: skip


def on_and_off(
    rng: np.random.Generator, leak_mw: float, *, readings: int, u_told: bool, zero_mw: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return readings of a line of 2 mW on, and of ``leak_mw`` off, against one dark reading of the meter.

    Noise 0.4 % and 1.1 uW, laser 1.2 %; dark reading the mean of ten; the zero of the sensitive range is off by a
    normal law of ``zero_mw``.
    """
    dark = 0.0023 + 0.0011 / 10**0.5 * float(rng.standard_normal())
    off = zero_mw * float(rng.standard_normal())
    tables = []
    for light, zero in ((2.0, 0.0), (leak_mw, off)):
        noise = np.hypot(np.hypot(0.004, 0.012) * light, 0.0011)
        power = light + zero + 0.0023 + noise * rng.standard_normal(readings)
        table = pd.DataFrame({"optical_power_mw": power, "dark_power_mw": dark})
        if u_told:
            table = table.assign(u_optical_power_mw=noise)
        tables.append(table.assign(u_dark_power_mw=0.0011 / 10**0.5))
    return tables[0], tables[1]
