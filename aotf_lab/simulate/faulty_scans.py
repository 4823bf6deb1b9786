"""A scan of the invented bench with what its switches say went wrong with the light of its line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.light import ScanPlan, passband_scan, true_efficiency, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["faulty_scan"]

_SECOND_SHARE = 0.15
_SECOND_HIGHER_MHZ = 0.40
"""Where the other polarisation peaks: a few hundred kHz from the first (invented)."""

_WANDER, _WANDER_TIME_S = 0.10, 1.0
_CLIPPED = 0.8


def faulty_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str,
    truth: BenchTruth = SKERRY,
    faults: Faults = NO_FAULTS,
) -> pd.DataFrame:
    """Return a scan as ``passband_scan`` does, with the faults that are switched on for this line."""
    if faults.wandering_laser == line.name:
        truth = replace(
            truth, instruments=replace(truth.instruments, laser_wander=_WANDER, laser_wander_time_s=_WANDER_TIME_S)
        )
    if faults.second_polarisation == line.name:
        table = _two_peaks(rng, line, direction, truth)
    else:
        table = passband_scan(rng, line, direction, truth)
    if faults.clipped_scan == line.name:
        peak = true_peak_frequency(line.wavelength_air_nm, truth.crystal)
        rf_power_w = true_rf_power(ScanPlan().supply_v, peak, truth.amplifier)
        light = true_efficiency(peak, rf_power_w, line.wavelength_air_nm, truth.crystal)
        most = _CLIPPED * line.incident_power_mw * float(light)
        table["optical_power_mw"] = np.minimum(table["optical_power_mw"], most)
    return table


def _two_peaks(rng: np.random.Generator, line: LineTruth, direction: str, truth: BenchTruth) -> pd.DataFrame:
    """Return the scan of a partly polarised beam: a second, quiet passband is added to what the meter shows.

    The head is linear, so that its lag acts on the sum as on the parts.
    """
    main = replace(line, incident_power_mw=(1.0 - _SECOND_SHARE) * line.incident_power_mw)
    other = replace(line, incident_power_mw=_SECOND_SHARE * line.incident_power_mw)
    table = passband_scan(rng, main, direction, truth)
    steps = table["frequency_mhz"] / (1.0 + truth.instruments.counter_error)
    quiet = replace(
        truth,
        oscillator=replace(truth.oscillator, jitter_mhz=0.0),
        instruments=replace(truth.instruments, head_floor_mw=0.0, head_offset_mw=0.0, head_noise=0.0, laser_wander=0.0),
    )
    middle = float(steps.mean()) - _SECOND_HIGHER_MHZ
    second = passband_scan(rng, other, direction, quiet, middle_mhz=middle)
    table["optical_power_mw"] += second["optical_power_mw"]
    return table
