"""A plain modulator on the driver of the invented bench: its true efficiency, and a session folder of raw files.

The cell stands at the Bragg angle of its carrier; another frequency is out of tune by the sound's turned wave fronts.
The transducer is taken as broad. Nothing of the package's own fit of a response is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.physics.bragg import bragg_detuning
from aotf_lab.physics.coupled_waves import diffraction_efficiency
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.reading.atomic import write_text_atomically
from aotf_lab.simulate.amplifier import level_readings, scope_level, supply_for, true_rf_power
from aotf_lab.simulate.oscillator import oscillator_sweep
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["FULMAR", "ModulatorTruth", "modulator_efficiency", "modulator_response", "write_modulator_session"]


@dataclass(frozen=True)
class ModulatorTruth:
    """The invented cell "Fulmar": carrier, sound, light and drive."""

    carrier_mhz: float = 70.0
    velocity_m_s: float = 4200.0
    refractive_index: float = 2.26
    length_mm: float = 60.0
    wavelength_nm: float = 632.99
    incident_power_mw: float = 2.0
    peak_efficiency: float = 0.85
    saturation_power_w: float = 0.45
    rated_power_w: float = 0.90


FULMAR = ModulatorTruth()


def modulator_efficiency(frequency_mhz: ArrayLike, rf_power_w: ArrayLike, truth: ModulatorTruth = FULMAR) -> Values:
    """Return the true efficiency (0 to 1) at frequencies (MHz) and RF powers (W); they broadcast."""
    detuning = bragg_detuning(
        frequency_mhz, truth.carrier_mhz, truth.wavelength_nm, truth.velocity_m_s, truth.length_mm,
        truth.refractive_index,
    )  # fmt: skip
    ratio = as_values(rf_power_w) / truth.saturation_power_w
    return as_values(truth.peak_efficiency * diffraction_efficiency(detuning, ratio))


def modulator_response(
    rng: np.random.Generator, direction: str = "up", truth: ModulatorTruth = FULMAR, bench: BenchTruth = SKERRY
) -> pd.DataFrame:
    """Return light against the carrier's frequency, one row a step, in order of time, as the instruments show it."""
    f = np.linspace(truth.carrier_mhz - 22.0, truth.carrier_mhz + 16.0, 39)
    f = f if direction == "up" else f[::-1]
    light = truth.incident_power_mw * modulator_efficiency(f, 0.2, truth)
    meters = bench.instruments
    noise = rng.normal(0.0, 1.0, (2, f.size))
    shown = light * (1 + meters.head_noise * noise[0]) + meters.head_floor_mw * noise[1] + meters.head_offset_mw
    table = {"time_s": 10.0 * (1 + np.arange(f.size)), "frequency_mhz": f * (1 + meters.counter_error)}
    return pd.DataFrame(table | {"optical_power_mw": shown})


def _drive(rng: np.random.Generator, truth: ModulatorTruth, bench: BenchTruth) -> pd.DataFrame:
    ratios = np.linspace(0.1, 1.4, 14)
    supply = np.array([supply_for(r * truth.saturation_power_w, truth.carrier_mhz, bench.amplifier) for r in ratios])
    power = true_rf_power(supply, np.full(ratios.size, truth.carrier_mhz), bench.amplifier)
    light = truth.incident_power_mw * modulator_efficiency(truth.carrier_mhz, power, truth)
    meters, noise = bench.instruments, rng.normal(0.0, 1.0, (2, ratios.size))
    return pd.DataFrame(
        {
            "supply_v": supply,
            "frequency_mhz": truth.carrier_mhz * (1 + bench.instruments.counter_error),
            "rf_level_vrms": scope_level(rng, power, np.full(ratios.size, truth.carrier_mhz), bench),
            "optical_power_mw": light * (1 + meters.head_noise * noise[0]) + meters.head_offset_mw,
            "incident_power_mw": truth.incident_power_mw * (1 + meters.head_noise * noise[1]) + meters.head_offset_mw,
            "dark_power_mw": meters.head_offset_mw,
        }
    )


_SESSION = """\
# The cell "Fulmar" on the driver of the bench "Skerry": invented, as is every reading in this folder.

[session]
name = "Fulmar"
note = "invented plain modulator on the demo driver"

[crystal]
kind = "modulator"
rated_rf_power_w = {rated:.2f}
velocity_m_s = 4200.0
u_velocity_m_s = 30.0

[instrument.counter]
time_base_ppm = 15.0
u_reading_khz = 4.5

[instrument.voltmeter]
gain_percent = 0.1
offset_mv = 1.0
u_reading_mv = 2.0

[instrument.scope]
gain_percent = 2.5
probe = 1.0
pad_db = 30.0
u_pad_db = 0.1
load_ohm = 50.0
u_load_ohm = 0.5
bandwidth_mhz = 200.0
u_bandwidth_percent = 5.0
u_reading_percent = 0.6

[instrument.power_meter]
u_reading_percent = 0.5
floor_uw = 1.2
time_constant_s = 0.9
gain_percent = 3.0

[[line]]
name = "R"
wavelength_nm = 632.99
medium = "vacuum"
u_wavelength_nm = 0.01
"""

_FILE = '\n[[file]]\npath = "{path}"\npurpose = "{purpose}"\n'
_HEADINGS = {
    "time_s": "Time (s)", "drive_v": "Drive voltage (V)", "frequency_mhz": "Counter (MHz)", "supply_v": "Supply (V)",
    "rf_level_vrms": "Scope (Vrms)", "optical_power_mw": "Diffracted (mW)", "direction": "Direction",
    "incident_power_mw": "Incident (mW)", "dark_power_mw": "Dark (mW)",
}  # fmt: skip


def write_modulator_session(folder: str | Path, seed: int = 5, bench: BenchTruth = SKERRY) -> Path:
    """Write the raw files and session.toml of a session with the cell "Fulmar" into an existing folder; return it."""
    home, rng, truth = Path(folder), np.random.default_rng(seed), FULMAR
    steps = tuple(np.arange(1.0, 13.5, 0.75).tolist())
    band = np.arange(50.0, 92.0, 3.0)
    level = [level_readings(rng, 6.0, band, bench), level_readings(rng, np.arange(4.0, 9.6, 0.5), 70.0, bench)]
    files = {
        "oscillator.csv": ("oscillator", oscillator_sweep(rng, (*steps, *steps[::-1]), bench, start_s=6300.0)),
        "level_band.csv": ("level", level[0]),
        "level_supply.csv": ("level", level[1]),
        "response_up.csv": ("scan", modulator_response(rng, "up", truth, bench)),
        "response_down.csv": ("scan", modulator_response(rng, "down", truth, bench)),
        "drive.csv": ("efficiency", _drive(rng, truth, bench)),
    }
    text = _SESSION.format(rated=truth.rated_power_w)
    for name, (purpose, table) in files.items():
        kept = table[[c for c in table.columns if c in _HEADINGS]].rename(columns=_HEADINGS)
        write_text_atomically(home / name, kept.to_csv(index=False, float_format="%.6f"))
        text += _FILE.format(path=name, purpose=purpose)
        text += 'line = "R"\n' if purpose in ("scan", "efficiency") else ""
        text += f'direction = "{name[9:-4]}"\n' if purpose == "scan" else ""
    write_text_atomically(home / "session.toml", text)
    return home
