"""Scans of one line in other forms: a floor that slopes, ranges of the meter, levels in dBm, two polarisations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from aotf_lab.physics.domain import Values, as_values
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.light import (
    DEMO_SCAN,
    ScanPlan,
    head_readings,
    laser_wander,
    scan_rows,
    trailing_light,
    true_efficiency,
    true_peak_frequency,
)
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["DEMO_FORMS", "ScanForms", "level_scan", "ranged_scan", "sloped_scan", "two_peak_scan"]


@dataclass(frozen=True)
class ScanForms:
    """What these scans have beside the passband.

    ``slope_mw_per_mhz``: leaking light that changes with the frequency. ``range_full_mw``: full scales of the meter's
    ranges, the highest first, with the gain and the offset (mW) of each and its scatter as a share of full scale.
    ``level_u_db``: scatter of a logarithmic detector over a floor of ``level_floor_mw``. ``second_share`` of the light
    is of the other polarisation, which peaks ``separation_mhz`` higher.
    """

    slope_mw_per_mhz: float = 0.08
    range_full_mw: tuple[float, ...] = (20.0, 2.0, 0.2)
    range_gain: tuple[float, ...] = (1.0, 1.012, 0.991)
    range_offset_mw: tuple[float, ...] = (0.012, 0.0015, 0.0002)
    range_scatter: float = 2e-4
    level_u_db: float = 0.04
    level_floor_mw: float = 3e-4
    second_share: float = 0.12
    separation_mhz: float = 0.38


DEMO_FORMS = ScanForms()


def sloped_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str = "up",
    forms: ScanForms = DEMO_FORMS,
    truth: BenchTruth = SKERRY,
    plan: ScanPlan = DEMO_SCAN,
) -> pd.DataFrame:
    """Return a scan whose floor slopes: columns and head as of ``passband_scan``."""
    frequency, light = _light(rng, line, direction, truth, plan)
    leak = forms.slope_mw_per_mhz * (frequency - float(true_peak_frequency(line.wavelength_air_nm, truth.crystal)))
    shown = trailing_light(light + leak, plan.dwell_s, truth.instruments.head_lag_s)
    return scan_rows(rng, frequency, head_readings(rng, shown, truth.instruments), truth, plan)


def two_peak_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str = "up",
    forms: ScanForms = DEMO_FORMS,
    truth: BenchTruth = SKERRY,
    plan: ScanPlan = DEMO_SCAN,
) -> pd.DataFrame:
    """Return a scan of a partly polarised beam, both orders on the meter: columns as of ``passband_scan``."""
    shift = forms.separation_mhz
    frequency, light = _light(
        rng, line, direction, truth, plan, (1.0 - forms.second_share, 0.0), (forms.second_share, shift)
    )
    shown = trailing_light(light, plan.dwell_s, truth.instruments.head_lag_s)
    return scan_rows(rng, frequency, head_readings(rng, shown, truth.instruments), truth, plan)


def ranged_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str = "up",
    forms: ScanForms = DEMO_FORMS,
    truth: BenchTruth = SKERRY,
    plan: ScanPlan = DEMO_SCAN,
) -> pd.DataFrame:
    """Return a scan of a photodiode meter that picks its range: columns as of ``passband_scan``, and ``range``.

    Each range shows five digits of its full scale. The meter does not trail.
    """
    frequency, light = _light(rng, line, direction, truth, plan)
    full = np.array(forms.range_full_mw)
    number = np.array([int(np.flatnonzero(full >= min(value, full[0]))[-1]) for value in 1.05 * light])
    scatter = np.hypot(truth.instruments.head_noise * light, forms.range_scatter * full[number])
    shown = np.array(forms.range_gain)[number] * light + np.array(forms.range_offset_mw)[number]
    shown = shown + scatter * rng.standard_normal(len(light))
    digits = 4 - np.floor(np.log10(full[number])).astype(int)
    shown = np.array([round(value, d) for value, d in zip(shown.tolist(), digits.tolist(), strict=True)])
    table = scan_rows(rng, frequency, shown, truth, plan).drop(columns="dark_power_mw")
    return table.assign(range=[f"{full[k]:g} mW" for k in number])


def level_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str = "up",
    forms: ScanForms = DEMO_FORMS,
    truth: BenchTruth = SKERRY,
    plan: ScanPlan = DEMO_SCAN,
) -> pd.DataFrame:
    """Return a scan of a logarithmic detector: columns ``time_s``, ``frequency_mhz`` and ``optical_power_dbm``."""
    frequency, light = _light(rng, line, direction, truth, plan)
    level = 10.0 * np.log10(light + forms.level_floor_mw) + forms.level_u_db * rng.standard_normal(len(light))
    table = scan_rows(rng, frequency, light, truth, plan)[["time_s", "frequency_mhz"]]
    return table.assign(optical_power_dbm=np.round(level, 2))


def _light(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str,
    truth: BenchTruth,
    plan: ScanPlan,
    *parts: tuple[float, float],
) -> tuple[Values, Values]:
    """Return the true frequencies (MHz) of a scan and the diffracted light (mW), both (n,), in order of time.

    ``parts`` are shares of the light and how much higher (MHz) each peaks; all of it, where the line peaks, without.
    """
    meters = truth.instruments
    middle = float(true_peak_frequency(line.wavelength_air_nm, truth.crystal)) + rng.uniform(-0.03, 0.03)
    frequency = middle + plan.offsets_mhz(direction) + rng.normal(0.0, truth.oscillator.jitter_mhz, plan.points)
    power_w = true_rf_power(plan.supply_v, frequency, truth.amplifier)
    light = sum(
        share * true_efficiency(frequency - higher, power_w, line.wavelength_air_nm, truth.crystal)
        for share, higher in parts or ((1.0, 0.0),)
    )
    wander = laser_wander(rng, plan.points, plan.dwell_s, meters)
    return as_values(frequency), as_values(line.incident_power_mw * light * (1.0 + wander))
