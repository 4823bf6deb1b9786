"""An invented bench with known truth, which writes raw files only.

    truth        the true values; they stand nowhere else
    faults       what can go wrong, each with a switch
    oscillator   drive voltage -> frequency, and the readings of a sweep
    amplifier    supply -> RF power, and what the scope shows
    light        crystal and lasers: passband scans and efficiency runs
    raw_files    the readings as raw files;  session_text  the session.toml beside them
    write        the whole session into a folder; ``python -m aotf_lab.simulate FOLDER``
    later        the bench months later; ``python -m aotf_lab.simulate FOLDER --day 120``

A simulated bench shows how a fit behaves when the truth is known. It proves nothing about real
crystals: for that the tests compare with published values.
"""

from aotf_lab.simulate.amplifier import level_readings, scope_level, supply_for, true_rf_power
from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.later import LATER_DAYS, simulate_later
from aotf_lab.simulate.light import (
    ScanPlan,
    efficiency_run,
    passband_scan,
    true_efficiency,
    true_fwhm,
    true_peak_frequency,
    true_saturation_power,
)
from aotf_lab.simulate.oscillator import oscillator_frequency, oscillator_sweep
from aotf_lab.simulate.truth import SKERRY, BenchTruth, LineTruth
from aotf_lab.simulate.write import simulate_session

__all__ = [
    "LATER_DAYS",
    "NO_FAULTS",
    "SKERRY",
    "BenchTruth",
    "Faults",
    "LineTruth",
    "ScanPlan",
    "efficiency_run",
    "level_readings",
    "oscillator_frequency",
    "oscillator_sweep",
    "passband_scan",
    "scope_level",
    "simulate_later",
    "simulate_session",
    "supply_for",
    "true_efficiency",
    "true_fwhm",
    "true_peak_frequency",
    "true_rf_power",
    "true_saturation_power",
]
