"""The law of efficiency against RF power, written so that weak drive is as well-behaved as strong drive.

eta(P) = eta_max sin^2((pi/2) sqrt(P / P_sat)), coupled waves in tune (Yariv & Yeh, Optical Waves in
Crystals (1984)). In weak drive only eta_max / P_sat can be known, so the parameters of the fit are

    slope      k = (pi/2)^2 eta_max / P_sat     initial slope, 1/W
    curvature  c = 1 / eta_max                  1 or more, as no more light comes out than goes in

with eta = sin^2(sqrt(k c P)) / c. Both stay finite, and nearly linear in the readings, however low the
drive was; P_sat = (pi/2)^2 / (k c).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import peak_efficiency

__all__ = ["QUARTER_PERIOD", "drive_law", "law_slopes", "power_for", "saturation_power"]

QUARTER_PERIOD = (np.pi / 2) ** 2
"""k c P at full diffraction."""


def drive_law(rf_power_w: FloatArray, slope_per_w: FloatArray | float, curvature: FloatArray | float) -> FloatArray:
    """Return the efficiency at ``rf_power_w`` (n,); the analytic continuation below zero watts.

    >>> float(drive_law(np.array([0.415]), 0.88 * QUARTER_PERIOD / 0.415, 1 / 0.88).round(6)[0])
    0.88
    """
    square = np.asarray(slope_per_w * curvature * rf_power_w, dtype=float)
    above = peak_efficiency(np.maximum(square, 0.0) / QUARTER_PERIOD)
    below = np.sinh(np.sqrt(np.maximum(-square, 0.0))) ** 2
    return np.asarray((above - below) / curvature)


def law_slopes(
    rf_power_w: FloatArray, slope_per_w: float, curvature: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the derivatives (n,) of ``drive_law`` by power (0 W or more), by slope and by curvature."""
    power = np.asarray(rf_power_w, dtype=float)
    root = np.sqrt(np.maximum(slope_per_w * curvature * power, 0.0))
    bend = np.sinc(2 * root / np.pi)
    by_curvature = (bend * slope_per_w * power - drive_law(power, slope_per_w, curvature)) / curvature
    return bend * slope_per_w, bend * power, by_curvature


def power_for(efficiency: FloatArray, slope_per_w: float, curvature: float) -> FloatArray:
    """Return the lowest power (W) that gives ``efficiency`` (0 to 1 / curvature): the lower branch.

    >>> float(power_for(np.array([0.44]), 0.88 * QUARTER_PERIOD / 0.4, 1 / 0.88).round(9)[0])
    0.1
    """
    amplitude = np.sqrt(np.clip(curvature * np.asarray(efficiency, dtype=float), 0.0, 1.0))
    return np.asarray(np.arcsin(amplitude) ** 2 / (slope_per_w * curvature))


def saturation_power(slope_per_w: Any, curvature: Any) -> Any:
    """Return the power of full diffraction (W); plain numbers or ``uncertainties`` numbers alike."""
    return QUARTER_PERIOD / (slope_per_w * curvature)
