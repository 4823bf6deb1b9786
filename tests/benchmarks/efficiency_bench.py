"""A simulated bench that raises the RF power of one line: its truth, its readings, the best that they allow.

Written without the package's own law and fit: the formulas stand here once more.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.reading.readings import Readings

Floats = NDArray[np.float64]

U_SCALE = {"scope gain": (0.010, 2.0), "pad": (0.0023, 1.0), "load": (0.005, -1.0)}
"""Shared causes of the power scale: relative standard uncertainty, and how it enters power."""

U_POWER = 0.008


def u_of_efficiency(efficiency: Floats) -> Floats:
    return 0.005 * np.abs(efficiency) + 0.003


@dataclass(frozen=True)
class Truth:
    """One line of one bench; ``scale`` is true over indicated power."""

    peak: float
    saturation_w: float
    scale: float

    @property
    def saturation_indicated_w(self) -> float:
        return self.saturation_w / self.scale

    @property
    def slope_per_w(self) -> float:
        return self.peak * np.pi**2 / 4 / self.saturation_w

    def efficiency(self, true_w: Floats | float) -> Floats:
        return np.asarray(self.peak * np.sin(np.pi / 2 * np.sqrt(np.asarray(true_w) / self.saturation_w)) ** 2)

    def power(self, efficiency: float) -> float:
        return float(self.saturation_w * (2 / np.pi * np.arcsin(np.sqrt(efficiency / self.peak))) ** 2)


def some_truth(rng: np.random.Generator, scale: float | None = None) -> Truth:
    """Return a line with a peak of 0.6 to 0.95 and a saturation power of 0.2 to 0.8 W."""
    return Truth(rng.uniform(0.6, 0.95), rng.uniform(0.2, 0.8), some_scale(rng) if scale is None else scale)


def some_scale(rng: np.random.Generator) -> float:
    return float(1 + sum(s * rng.normal(0, u) for u, s in U_SCALE.values()))


def scope_errors() -> tuple[CommonError, ...]:
    return tuple(CommonError(name, "rf_power_w", "relative", new_cause(name, u), s) for name, (u, s) in U_SCALE.items())


def drives(reach: float, truth: Truth, points: int) -> Floats:
    """Return the true powers of an even sweep from next to nothing up to ``reach`` times the saturation power."""
    return np.linspace(reach / points, reach, points) * truth.saturation_w


def measured(
    rng: np.random.Generator,
    truth: Truth,
    reach: float,
    points: int = 15,
    common: tuple[CommonError, ...] | None = None,
) -> Readings:
    """Return the readings of one sweep."""
    true_w = drives(reach, truth, points)
    shown_w = true_w / truth.scale * (1 + U_POWER * rng.standard_normal(points))
    light = truth.efficiency(true_w)
    seen = light + u_of_efficiency(light) * rng.standard_normal(points)
    table = pd.DataFrame(
        {
            "rf_power_w": shown_w,
            "u_rf_power_w": U_POWER * shown_w,
            "efficiency": seen,
            "u_efficiency": u_of_efficiency(seen),
        }
    )
    return Readings(table, scope_errors() if common is None else common)


def cramer_rao(truth: Truth, reach: float, points: int = 15) -> tuple[float, float]:
    """Return the least standard deviation of (P_sat in indicated watts, eta_max) that the sweep allows.

    The unknown true power of each reading is eliminated: its share of variance is slope^2 u_P^2.
    """
    shown_w = drives(reach, truth, points) / truth.scale
    saturation = truth.saturation_indicated_w
    angle = np.pi / 2 * np.sqrt(shown_w / saturation)
    shape, bend = np.sin(angle) ** 2, truth.peak * np.sin(2 * angle) * angle / 2
    gradient = np.stack([-bend / saturation, shape])
    variance = u_of_efficiency(truth.peak * shape) ** 2 + (bend * U_POWER) ** 2
    bound = np.linalg.inv((gradient / variance) @ gradient.T)
    return float(np.sqrt(bound[0, 0])), float(np.sqrt(bound[1, 1]))
