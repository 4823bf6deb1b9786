"""The leak of one line on the invented bench: only its laser on, the filter set to other lines' frequencies."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import as_values
from aotf_lab.simulate.light import dark_reading, head_readings, true_efficiency, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["DEMO_LEAKAGE", "LeakageTruth", "leakage_run", "leakage_settings"]


@dataclass(frozen=True)
class LeakageTruth:
    """What beside the passband sends light the same way, and how it is read.

    ``scattered`` is the share of the incident light that the crystal scatters into the order at any setting, RF on or
    not. ``zero_mw`` is by how much the meter's zero in its sensitive range differs from that of the dark reading.
    """

    rf_power_w: float = 0.45
    repeats: int = 4
    scattered: float = 2.0e-4
    zero_mw: float = 0.0


DEMO_LEAKAGE = LeakageTruth()


def leakage_settings(truth: BenchTruth = SKERRY) -> dict[str, float]:
    """Return the true peak (MHz) of each line of the bench by name: where the filter is set."""
    return {line.name: float(true_peak_frequency(line.wavelength_air_nm, truth.crystal)) for line in truth.lines}


def leakage_run(
    rng: np.random.Generator,
    line: LineTruth,
    frequencies: Mapping[str, float] | ArrayLike | None = None,
    truth: BenchTruth = SKERRY,
    plan: LeakageTruth = DEMO_LEAKAGE,
) -> pd.DataFrame:
    """Return the readings of a leak, ``plan.repeats`` rows at each of ``frequencies`` (MHz; default all lines' peaks).

    Columns ``frequency_mhz``, ``optical_power_mw``, ``incident_power_mw``, ``dark_power_mw`` (one number: the mean of
    ten dark readings) as the instruments show them; the head settles before each reading.
    """
    meters = truth.instruments
    chosen = leakage_settings(truth) if frequencies is None else frequencies
    places = as_values(list(chosen.values()) if isinstance(chosen, Mapping) else chosen)
    settings = np.repeat(np.atleast_1d(places), plan.repeats)
    f = settings + rng.normal(0.0, truth.oscillator.jitter_mhz, settings.size)
    efficiency = true_efficiency(f, plan.rf_power_w, line.wavelength_air_nm, truth.crystal) + plan.scattered
    incident, during = line.incident_power_mw * (1.0 + rng.normal(0.0, meters.laser_wander, (2, settings.size)))
    dark = dark_reading(rng, meters)
    return pd.DataFrame(
        {
            "frequency_mhz": f * (1.0 + meters.counter_error),
            "optical_power_mw": head_readings(rng, during * efficiency, meters) + plan.zero_mw,
            "incident_power_mw": head_readings(rng, incident, meters),
            "dark_power_mw": np.full(settings.size, dark),
        }
    )
