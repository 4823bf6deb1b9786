"""The readings of the invented bench as text: the raw files that its instruments and its owner leave behind."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

import numpy as np
import pandas as pd

from aotf_lab.simulate.amplifier import level_readings
from aotf_lab.simulate.crystal_files import crystal_files
from aotf_lab.simulate.faults import NO_FAULTS, Faults
from aotf_lab.simulate.faulty_scans import faulty_scan
from aotf_lab.simulate.light import efficiency_run, true_peak_frequency
from aotf_lab.simulate.match import match_file
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, REFERENCE_V, oscillator_sweep
from aotf_lab.simulate.spreadsheet import spreadsheet_sweep
from aotf_lab.simulate.text import Column, csv_text
from aotf_lab.simulate.trace import trace_files
from aotf_lab.simulate.truth import SKERRY, BenchTruth
from aotf_lab.simulate.warm_up import pushing_text, warmup_log_text

__all__ = [
    "DRIVE_RATIOS",
    "EFFICIENCY_COLUMNS",
    "LEVEL_COLUMNS",
    "MISTYPED_NM",
    "SCAN_COLUMNS",
    "SWEEP_COLUMNS",
    "SWING_COLUMNS",
    "efficiency_files",
    "raw_files",
    "scan_files",
    "sweep_text",
]

DRIVE_RATIOS = {
    "B": (0.04, 0.08, 0.12, 0.16, 0.20, 0.24, 0.27, 0.30, 0.33, 0.36),
    "E": (0.05, 0.12, 0.20, 0.30, 0.40, 0.52, 0.64, 0.76, 0.88, 1.00, 1.12, 1.24, 1.37, 1.50),
    "G": (0.05, 0.11, 0.17, 0.24, 0.31, 0.38, 0.45, 0.52, 0.60, 0.68, 0.75),
}
"""How far each efficiency run drives its line: power over the power of full diffraction."""

MISTYPED_NM = {"E": 598.96}
"""The slip of the pen in the second line table: two digits exchanged."""

_BAND_MHZ = tuple(float(f) for f in range(44, 97, 2))
_BAND_SUPPLY_V = 8.0
_SUPPLIES_V = (4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 10.5, 11.0)
_SUPPLY_FREQUENCY_MHZ = 64.0

SWEEP_COLUMNS: tuple[Column, ...] = (
    ("Time (s)", "time_s", 1.0, 0), ("Direction", "direction", 1.0, 0), ("Drive voltage (V)", "drive_v", 1.0, 4),
    ("Counter (MHz)", "frequency_mhz", 1.0, 4), ("Box temperature (degC)", "temperature_c", 1.0, 2),
)  # fmt: skip
LEVEL_COLUMNS: tuple[Column, ...] = (
    ("Supply (V)", "supply_v", 1.0, 2), ("Counter (MHz)", "frequency_mhz", 1.0, 3),
    ("Scope (Vrms)", "rf_level_vrms", 1.0, 5),
)  # fmt: skip
SWING_COLUMNS: tuple[Column, ...] = (
    *LEVEL_COLUMNS[:2], ("Scope (Vpp)", "rf_level_vpp", 1.0, 5), ("Supply current (A)", "supply_a", 1.0, 3),
)  # fmt: skip
SCAN_COLUMNS: tuple[Column, ...] = (
    ("Time (s)", "time_s", 1.0, 1), ("Counter (MHz)", "frequency_mhz", 1.0, 4),
    ("Diffracted (uW)", "optical_power_mw", 1e3, 1), ("Dark (uW)", "dark_power_mw", 1e3, 1),
)  # fmt: skip
EFFICIENCY_COLUMNS: tuple[Column, ...] = (
    *LEVEL_COLUMNS, ("Diffracted (uW)", "optical_power_mw", 1e3, 1), ("Incident (uW)", "incident_power_mw", 1e3, 1),
    ("Dark (uW)", "dark_power_mw", 1e3, 1),
)  # fmt: skip
_LINES: tuple[Column, ...] = (
    ("Label", "label", 1.0, 0), ("Wavelength in air (nm)", "wavelength_air_nm", 1.0, 2),
    ("u (nm)", "u_wavelength_nm", 1.0, 2), ("Peak frequency (MHz)", "frequency_mhz", 1.0, 3),
    ("u (kHz)", "u_frequency_mhz", 1e3, 0),
)  # fmt: skip


def raw_files(seed: int = 0, truth: BenchTruth = SKERRY, faults: Faults = NO_FAULTS) -> dict[str, str]:
    """Return the raw files of a session by name, as text with line feeds.

    Each file draws its errors from a stream of its own, so that a new file leaves the others as they are.
    """
    files = {"vco_warm.csv": sweep_text(seed, truth, faults)}
    files.update(_levels(seed, truth))
    files.update(scan_files(seed, truth, faults))
    files.update(efficiency_files(seed, truth))
    files["lines_mistyped.csv"] = _line_table(_stream(seed, "lines_mistyped.csv"), truth)
    files["vco_cold.csv"] = spreadsheet_sweep(_stream(seed, "vco_cold.csv"), truth)
    files["warmup_log.csv"] = warmup_log_text(_stream(seed, "warmup_log.csv"), truth)
    files["pushing.csv"] = pushing_text(_stream(seed, "pushing.csv"), truth)
    files.update(trace_files(seed, truth))
    files["match.s1p"] = match_file(_stream(seed, "match.s1p"))
    files.update(crystal_files(lambda file: _stream(seed, file), truth))
    return files


def _stream(seed: int, file: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(file.encode())])


def sweep_text(seed: int, truth: BenchTruth = SKERRY, faults: Faults = NO_FAULTS) -> str:
    """Return the text of the oscillator's sweep, ``vco_warm.csv``, as in ``raw_files``."""
    rng = _stream(seed, "vco_warm.csv")
    down = () if faults.one_way_sweep else (*DEMO_DOWN_V, REFERENCE_V)
    targets = (REFERENCE_V, *DEMO_UP_V, *down)
    start_s = 240.0 if faults.cold_start else 6300.0
    table = oscillator_sweep(rng, targets, truth, start_s=start_s, dial=faults.dial_voltages)
    doubled = table.index.isin(faults.doubled_counts)
    table["frequency_mhz"] = table["frequency_mhz"] * np.where(doubled, 2.0, 1.0)
    return csv_text(
        f"oscillator on for {start_s / 60:.0f} min; {REFERENCE_V:g} V visited again and again", table, SWEEP_COLUMNS
    )


def _levels(seed: int, truth: BenchTruth) -> Iterator[tuple[str, str]]:
    name = "level_over_band.csv"
    band = level_readings(_stream(seed, name), _BAND_SUPPLY_V, _BAND_MHZ, truth)
    yield name, csv_text("amplifier into the dummy load, scope behind the pad", band, LEVEL_COLUMNS)
    name = "supply_to_power.csv"
    supplies = level_readings(_stream(seed, name), _SUPPLIES_V, _SUPPLY_FREQUENCY_MHZ, truth, swing=True)
    yield (
        name,
        csv_text("amplifier into the dummy load, scope behind the pad, read peak to peak", supplies, SWING_COLUMNS),
    )


def scan_files(seed: int, truth: BenchTruth = SKERRY, faults: Faults = NO_FAULTS) -> Iterator[tuple[str, str]]:
    """Yield name and text of each scan file, as in ``raw_files``."""
    for line in truth.lines:
        for direction in ("up",) if faults.one_way_scans else ("up", "down"):
            name = f"scan_{line.name}_{direction}.csv"
            scanned = truth.line(faults.scanned_line(line.name))
            table = faulty_scan(_stream(seed, name), scanned, direction, truth, faults)
            yield (
                name,
                csv_text(f"line {line.name}, stepped {direction} without waiting for the head", table, SCAN_COLUMNS),
            )


def efficiency_files(seed: int, truth: BenchTruth = SKERRY) -> Iterator[tuple[str, str]]:
    """Yield name and text of each efficiency run, as in ``raw_files``."""
    for name, ratios in DRIVE_RATIOS.items():
        file = f"efficiency_{name}.csv"
        table = efficiency_run(_stream(seed, file), truth.line(name), ratios, truth)
        note = f"line {name} on its peak, supply raised; scope level into the dummy load at the same setting"
        yield file, csv_text(note, table, EFFICIENCY_COLUMNS)


def _line_table(rng: np.random.Generator, truth: BenchTruth) -> str:
    """Return the anchors as noted by hand: peaks read off to some 6 kHz, one wavelength mistyped."""

    anchors = [line for line in truth.lines if line.anchor]
    peaks = np.array([float(true_peak_frequency(line.wavelength_air_nm, truth.crystal)) for line in anchors])
    table = pd.DataFrame(
        {
            "label": [line.name for line in anchors],
            "wavelength_air_nm": [MISTYPED_NM.get(line.name, line.label_nm) for line in anchors],
            "u_wavelength_nm": [line.u_label_nm for line in anchors],
            "frequency_mhz": (peaks + rng.normal(0.0, 0.006, peaks.size)) * (1.0 + truth.instruments.counter_error),
            "u_frequency_mhz": 0.006,
        }
    )
    return csv_text("anchor lines and their peaks, copied by hand", table, _LINES)
