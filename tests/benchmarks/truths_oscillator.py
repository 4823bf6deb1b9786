"""Oscillators whose law is known here and nowhere in the fit.

Each truth is a function f(V, *constants) in MHz with nominal constants. A bench of the population
draws every constant uniformly within 15 % of its nominal value; a fixed bench takes the nominal ones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.estimation.problem import FloatArray

U_DRIVE_V = 4e-3
U_COUNT_MHZ = 8e-3
LOW_V, HIGH_V = 0.3, 14.0
SPREAD = 0.15


@dataclass(frozen=True)
class Truth:
    """A family of oscillators."""

    name: str
    law: Callable[..., FloatArray]
    nominal: tuple[float, ...]

    def constants(self, rng: np.random.Generator | None) -> FloatArray:
        """Return the constants of one bench: drawn, or nominal without ``rng``."""
        nominal = np.array(self.nominal)
        return nominal if rng is None else nominal * rng.uniform(1 - SPREAD, 1 + SPREAD, len(nominal))


def tank(v: FloatArray, f0: float, parallel: float, series: float, phi: float, grading: float) -> FloatArray:
    """Resonance of a coil with a junction diode, a capacitor in series with the diode and one across both."""
    with np.errstate(invalid="ignore"):
        return f0 / np.sqrt(parallel + 1 / (series + (1 + v / phi) ** grading))


def bench(v: FloatArray, a: float, b: float, c: float, d: float, e: float, knee: float) -> FloatArray:
    """The demo bench's form: a cubic with a knee at the low end."""
    return a + b * v + c * v**2 + d * v**3 - e * np.exp(-v / knee)


def kinked(
    v: FloatArray, a: float, b: float, c: float, e: float, knee: float, bend: float, at: float, width: float
) -> FloatArray:
    """A quadratic with a knee at the low end, whose slope falls by ``bend`` (MHz/V) around ``at`` (V)."""
    return a + b * v + c * v**2 - e * np.exp(-v / knee) - bend * width * np.logaddexp(0.0, (v - at) / width)


def quadratic_kinked(v: FloatArray, a: float, b: float, c: float, bend: float, at: float, width: float) -> FloatArray:
    """A quadratic whose slope falls by ``bend`` (MHz/V) around ``at`` (V)."""
    return a + b * v + c * v**2 - bend * width * np.logaddexp(0.0, (v - at) / width)


TANK = Truth("varactor tank", tank, (36.0, 0.05, 0.3, 0.7, 0.9))
BENCH = Truth("demo bench's form", bench, (41.2, 5.05, -0.178, 0.0062, 0.9, 0.9))
KINK = Truth("gentle kink", kinked, (41.2, 4.6, -0.06, 0.9, 0.9, 0.5, 6.2, 0.7))
PLAIN_KINK = Truth("gentle kink, no knee", quadratic_kinked, (40.0, 4.4, -0.06, 0.5, 6.2, 0.7))
SHARP_KINK = Truth("sharper kink, no knee", quadratic_kinked, (40.0, 4.4, -0.06, 0.9, 6.2, 0.5))


def voltages(up: int = 21, down: int = 11) -> FloatArray:
    """Return the voltages of a run: ``up`` rising, then ``down`` of them falling."""
    rising = np.linspace(LOW_V, HIGH_V, up)
    return np.concatenate([rising, rising[np.round(np.linspace(up - 1, 0, down)).astype(int)]])


def judged_points(up: int = 21) -> FloatArray:
    """Return where the curves are judged: both ends, two readings, and between all readings."""
    rising = np.linspace(LOW_V, HIGH_V, up)
    return np.unique(np.concatenate([rising[[0, 1, up // 2, -1]], (rising[1:] + rising[:-1]) / 2]))


def run(
    truth: Truth, constants: FloatArray, drive_v: FloatArray, rng: np.random.Generator, backlash_v: float = 0.0
) -> pd.DataFrame:
    """Return the readings of one run; with ``backlash_v`` the direction is recorded and matters."""
    rising = np.arange(len(drive_v)) <= int(np.argmax(drive_v))
    shift = np.where(rising, 0.5, -0.5) * backlash_v
    there = drive_v + shift + U_DRIVE_V * rng.standard_normal(len(drive_v))
    frequency = truth.law(there, *constants) + U_COUNT_MHZ * rng.standard_normal(len(drive_v))
    table = pd.DataFrame(
        {"drive_v": drive_v, "u_drive_v": U_DRIVE_V, "frequency_mhz": frequency, "u_frequency_mhz": U_COUNT_MHZ}
    )
    if backlash_v:
        table["direction"] = np.where(rising, "up", "down")
    return table


def slope(truth: Truth, constants: FloatArray, v: FloatArray) -> FloatArray:
    """Return df/dV (MHz/V) of the truth."""
    return np.asarray((truth.law(v + 1e-4, *constants) - truth.law(v - 1e-4, *constants)) / 2e-4)


def spread(truth: Truth, constants: FloatArray, v: FloatArray) -> NDArray[np.float64]:
    """Return the standard deviation (MHz) of a reading's gap from the truth."""
    return np.hypot(U_COUNT_MHZ, slope(truth, constants, v) * U_DRIVE_V)
