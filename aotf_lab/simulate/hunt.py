"""A wide sweep of the frequency with all lasers on: lines, their ghosts by the amplifier's harmonics, sidelobes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import dark_reading, head_readings, laser_wander, trailing_light, true_efficiency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["DEMO_HUNT", "HUNT_COLUMNS", "HuntPlan", "hunt_sweep", "true_light"]

HUNT_COLUMNS: tuple[tuple[str, str, float, int], ...] = (
    ("Time (s)", "time_s", 1.0, 1), ("Counter (MHz)", "frequency_mhz", 1.0, 4),
    ("Diffracted (uW)", "optical_power_mw", 1e3, 1), ("Dark (uW)", "dark_power_mw", 1e3, 1),
)  # fmt: skip
"""Heading, column, factor from bench unit to the heading's, decimals: as the scans have them."""


@dataclass(frozen=True)
class HuntPlan:
    """How the sweep is made: start, stop and step (MHz), seconds per step, the amplifier's supply (V).

    ``both_ways`` sweeps back down at once. ``second_mhz`` shifts the passband of light in the other polarisation,
    which is ``second_share`` of every line's light.
    """

    start_mhz: float = 42.5
    stop_mhz: float = 96.0
    step_mhz: float = 0.048
    dwell_s: float = 0.5
    supply_v: float = 7.0
    both_ways: bool = False
    second_mhz: float = 0.0
    second_share: float = 0.0

    def settings_mhz(self) -> Values:
        """Return the frequencies set (MHz), in order of time."""
        up = np.arange(self.start_mhz, self.stop_mhz + 0.5 * self.step_mhz, self.step_mhz)
        return as_values(np.concatenate([up, up[::-1]]) if self.both_ways else up)


DEMO_HUNT = HuntPlan()


def true_light(
    frequency_mhz: Values, line: LineTruth, truth: BenchTruth = SKERRY, plan: HuntPlan = DEMO_HUNT
) -> Values:
    """Return the light (mW) of one line that the filter sends to the meter at settings (MHz) of the oscillator.

    The fundamental and each harmonic of the amplifier diffract as if the others were not there.
    """
    power_w = true_rf_power(plan.supply_v, frequency_mhz, truth.amplifier)
    total = np.zeros_like(frequency_mhz)
    for order, level_dbc in ((1, 0.0), *truth.amplifier.harmonics_dbc):
        at_order = power_w * 10.0 ** (level_dbc / 10.0)
        place = order * frequency_mhz
        total += (1.0 - plan.second_share) * true_efficiency(place, at_order, line.wavelength_air_nm, truth.crystal)
        if plan.second_share:
            moved = place - plan.second_mhz
            total += plan.second_share * true_efficiency(moved, at_order, line.wavelength_air_nm, truth.crystal)
    return as_values(line.incident_power_mw * total)


def hunt_sweep(
    rng: np.random.Generator, truth: BenchTruth = SKERRY, plan: HuntPlan = DEMO_HUNT, *, light: bool = True
) -> pd.DataFrame:
    """Return the readings of one sweep, one row per step, in order of time.

    Columns ``time_s``, ``frequency_mhz``, ``optical_power_mw``, ``dark_power_mw`` (one number: the mean of ten dark
    readings) as the instruments show them. Each laser wanders by itself. ``light`` False: all lasers are off.
    """
    meters = truth.instruments
    frequency = plan.settings_mhz()
    frequency = frequency + rng.normal(0.0, truth.oscillator.jitter_mhz, frequency.size)
    total = np.zeros_like(frequency)
    for line in truth.lines if light else ():
        wander = laser_wander(rng, frequency.size, plan.dwell_s, meters)
        total += true_light(frequency, line, truth, plan) * (1.0 + wander)
    shown = trailing_light(total, plan.dwell_s, meters.head_lag_s)
    read = head_readings(rng, shown, meters)
    dark = dark_reading(rng, meters)
    return pd.DataFrame(
        {
            "time_s": plan.dwell_s * (1.0 + np.arange(frequency.size)),
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
            "optical_power_mw": read,
            "dark_power_mw": np.full(frequency.size, dark),
        }
    )
