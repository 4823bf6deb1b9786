"""A lamp before the crystal of the invented bench: its scan by the power meter, by numerical integration.

Nothing of the package's inverse is used: the light at each frequency is the sum over a fine grid of wavelengths of
source, detector and true efficiency of the simulated crystal.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from aotf_lab.physics.air import vacuum_to_air
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm
from aotf_lab.physics.domain import Values
from aotf_lab.simulate.light import (
    CRYSTAL_TEMPERATURE_C,
    dark_reading,
    head_readings,
    trailing_light,
    true_fwhm,
    true_peak_frequency,
    true_saturation_power,
)
from aotf_lab.simulate.truth import SKERRY, BenchTruth, CrystalTruth

__all__ = ["LampTruth", "SpectrumPlan", "demo_lamp", "diffracted_light", "spectrum_scan"]


@dataclass(frozen=True)
class LampTruth:
    """A source: a continuous density (mW/nm) of vacuum wavelengths (nm), and lines (vacuum nm, mW)."""

    density_mw_per_nm: Callable[[Values], Values]
    lines: tuple[tuple[float, float], ...] = ()
    response: Callable[[Values], Values] = np.ones_like
    """Indicated over true power at vacuum wavelengths (nm)."""


@dataclass(frozen=True)
class SpectrumPlan:
    """How a lamp is scanned: frequencies (MHz) stepped through with one dwell each, at one RF power (W)."""

    low_mhz: float = 54.0
    high_mhz: float = 92.0
    step_mhz: float = 0.1
    dwell_s: float = 0.5
    rf_power_w: float = 0.25

    def frequency_mhz(self, direction: str = "up") -> Values:
        """Return the frequencies in the order of time."""
        rising = np.arange(self.low_mhz, self.high_mhz + 0.5 * self.step_mhz, self.step_mhz)
        return rising if direction == "up" else rising[::-1]


def demo_lamp() -> LampTruth:
    """Return the invented lamp of the demo: a white LED, a blue peak with a broad phosphor."""

    def density(nm: Values) -> Values:
        blue = 45e-3 * np.exp(-0.5 * ((nm - 468.0) / 11.0) ** 2)
        phosphor = 30e-3 * np.exp(-0.5 * ((nm - 566.0) / 42.0) ** 2)
        return np.asarray(blue + phosphor)

    return LampTruth(density)


def diffracted_light(
    frequency_mhz: Values,
    rf_power_w: float,
    lamp: LampTruth,
    crystal: CrystalTruth = SKERRY.crystal,
    temperature_c: float = CRYSTAL_TEMPERATURE_C,
    grid_nm: float = 0.05,
    sidelobes: float = 1.0,
) -> Values:
    """Return the indicated light (mW) that is diffracted at each frequency (n,), by summing over 400 to 760 nm.

    ``sidelobes`` multiplies the passband beyond its first nulls.
    """
    nm = np.arange(400.0, 760.0, grid_nm)
    weight = lamp.density_mw_per_nm(nm) * lamp.response(nm) * grid_nm
    if lamp.lines:
        places, powers = np.array(lamp.lines).T
        nm, weight = np.append(nm, places), np.append(weight, powers * lamp.response(places))
    kept = weight > 1e-9 * weight.max()
    nm, weight = nm[kept], weight[kept]
    air = vacuum_to_air(nm)
    peak = true_peak_frequency(air, crystal, temperature_c)
    unit = np.pi * float(passband_fwhm(0.0)) / true_fwhm(peak, crystal)
    ratio = rf_power_w / true_saturation_power(air, crystal)
    light = np.empty(len(frequency_mhz))
    for k, f in enumerate(frequency_mhz):
        detuning = unit * (f - peak)
        leaning = detuning * (1.0 - crystal.skew * np.tanh(detuning))
        seen = crystal.peak_efficiency * diffraction_efficiency(leaning, ratio)
        if sidelobes != 1.0:
            seen = np.where(leaning**2 + np.pi**2 / 4 * ratio > np.pi**2, sidelobes * seen, seen)
        light[k] = weight @ seen
    return light


def spectrum_scan(
    rng: np.random.Generator,
    lamp: LampTruth,
    direction: str = "up",
    truth: BenchTruth = SKERRY,
    plan: SpectrumPlan | None = None,
    light_mw: Values | None = None,
) -> pd.DataFrame:
    """Return the readings of one scan of a lamp, one row per step, in order of time.

    Columns ``time_s``, ``frequency_mhz``, ``optical_power_mw``, ``dark_power_mw`` as the instruments show them.
    ``light_mw`` is ``diffracted_light`` at the plan's rising frequencies, where that was computed before.
    """
    plan = plan or SpectrumPlan()
    meters = truth.instruments
    if light_mw is None:
        light_mw = diffracted_light(plan.frequency_mhz(), plan.rf_power_w, lamp, truth.crystal)
    light = light_mw if direction == "up" else light_mw[::-1]
    frequency = plan.frequency_mhz(direction)
    shown = trailing_light(light, plan.dwell_s, meters.head_lag_s)
    dark = dark_reading(rng, meters)
    return pd.DataFrame(
        {
            "time_s": plan.dwell_s * (1.0 + np.arange(len(frequency))),
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
            "optical_power_mw": head_readings(rng, shown, meters),
            "dark_power_mw": dark,
        }
    )
