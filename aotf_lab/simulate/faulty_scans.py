"""A scan of the invented bench with what its switches say went wrong with the light of its line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.light import ScanPlan, passband_scan, true_efficiency, true_peak_frequency
from aotf_lab.simulate.scan_forms import DEMO_FORMS, two_peak_scan
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth

__all__ = ["faulty_scan"]

_POLARISED = replace(DEMO_FORMS, second_share=0.15, separation_mhz=0.40)
"""The other polarisation peaks a few hundred kHz from the first (invented)."""

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
        table = two_peak_scan(rng, line, direction, _POLARISED, truth)
    else:
        table = passband_scan(rng, line, direction, truth)
    if faults.clipped_scan == line.name:
        peak = true_peak_frequency(line.wavelength_air_nm, truth.crystal)
        rf_power_w = true_rf_power(ScanPlan().supply_v, peak, truth.amplifier)
        light = true_efficiency(peak, rf_power_w, line.wavelength_air_nm, truth.crystal)
        most = _CLIPPED * line.incident_power_mw * float(light)
        table["optical_power_mw"] = np.minimum(table["optical_power_mw"], most)
    return table
