"""Light that is switched and light that is modulated through the oscillator's port, as the invented bench shows them.

The generator steps, or swings, the port by some mV about a drive at which a line's light is steepest, on the lower
flank of its passband, so that the light follows the volts nearly in proportion. The port's pole comes first, then
oscillator and passband, then the sound's way to the beam and across it, then the detector's pole and the scope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import ndimage, signal

from aotf_lab.physics.domain import Values, as_values
from aotf_lab.physics.edges import pole_of_bandwidth_us, pole_of_rise_us, transit_us
from aotf_lab.simulate.light import true_efficiency
from aotf_lab.simulate.oscillator import oscillator_frequency
from aotf_lab.simulate.text import csv_text
from aotf_lab.simulate.truth import SKERRY, BenchTruth

__all__ = ["SKERRY_EDGE", "EdgeTruth", "edge_run", "edge_text", "modulation_depth_text", "modulation_run"]


@dataclass(frozen=True)
class EdgeTruth:
    """What is true of beam, sound's way, port, detector and scope, and how the readings were made."""

    line: str = "E"
    rf_power_w: float = 0.12
    beam_diameter_mm: float = 1.6
    transducer_to_beam_mm: float = 6.0
    port_bandwidth_khz: float = 180.0
    detector_rise_us: float = 0.22
    detector_v_per_mw: float = 1.6
    detector_offset_v: float = 0.004
    noise_v: float = 0.0016
    drive_noise_v: float = 0.0004
    light_step_v: float = 0.002
    drive_step_v: float = 0.0005
    swing_v: float = 0.014
    high_us: float = 20.0
    sample_us: float = 0.05
    start_us: float = -5.0
    end_us: float = 45.0
    depth_noise_v: float = 0.0012


SKERRY_EDGE = EdgeTruth()
_FINE_US = 0.005
_PHASES = 256


def _flank_v(edge: EdgeTruth, bench: BenchTruth) -> float:
    """Return the drive (V) at which the line's light is steepest, on the lower flank of its passband."""
    drive = np.linspace(3.0, 12.0, 45001)
    return float(drive[int(np.argmax(np.gradient(_light_at(drive, edge, bench))))])


def _light_at(drive_v: ArrayLike, edge: EdgeTruth, bench: BenchTruth) -> Values:
    """Return the detector's volts of steady light at a drive (V) of the warm oscillator."""
    line = bench.line(edge.line)
    frequency = oscillator_frequency(drive_v, truth=bench.oscillator)
    efficiency = true_efficiency(frequency, edge.rf_power_w, line.wavelength_air_nm, bench.crystal)
    return as_values(edge.detector_v_per_mw * line.incident_power_mw * efficiency)


def edge_run(rng: np.random.Generator, bench: BenchTruth = SKERRY, edge: EdgeTruth = SKERRY_EDGE) -> pd.DataFrame:
    """Return a trace pair: ``time_s``, ``drive_v`` (at the port's terminals) and ``signal_v`` of the detector."""
    middle, velocity = _flank_v(edge, bench), bench.crystal.velocity_m_s
    delay = 1e3 * edge.transducer_to_beam_mm / velocity
    t = np.arange(edge.start_us - 40.0, edge.end_us + 1.0, _FINE_US)
    commanded = as_values(middle + edge.swing_v * (((t >= 0.0) & (t < edge.high_us)) - 0.5))
    port = _pole(commanded, pole_of_bandwidth_us(edge.port_bandwidth_khz))
    light = np.interp(t - delay, t, _light_at(port, edge, bench))
    deviation = float(transit_us(edge.beam_diameter_mm, velocity)) / 4.0
    light = _pole(
        ndimage.gaussian_filter1d(light, deviation / _FINE_US, mode="nearest", truncate=6.0),
        pole_of_rise_us(edge.detector_rise_us),
    )
    shown = np.arange(edge.start_us, edge.end_us, edge.sample_us)
    late = rng.uniform(0.0, edge.sample_us)  # the scope's clock against the generator's step
    volts = np.interp(shown + late, t, light) + edge.detector_offset_v
    drive = np.interp(shown + late, t, commanded)
    return pd.DataFrame({
        "time_s": 1e-6 * (shown + late),
        "drive_v": _rounded(drive + rng.normal(0.0, edge.drive_noise_v, len(shown)), edge.drive_step_v),
        "signal_v": _rounded(volts + rng.normal(0.0, edge.noise_v, len(shown)), edge.light_step_v),
    })  # fmt: skip


def modulation_run(
    rng: np.random.Generator, modulation_khz: ArrayLike, bench: BenchTruth = SKERRY, edge: EdgeTruth = SKERRY_EDGE
) -> pd.DataFrame:
    """Return most and least light, dark taken off: ``modulation_khz``, ``most_v``, ``least_v`` and the u of these.

    Each is the settled course over one period, harmonics of passband and all; means of many periods.
    """
    middle, phase = _flank_v(edge, bench), 2.0 * np.pi * np.arange(_PHASES) / _PHASES
    across = float(transit_us(edge.beam_diameter_mm, bench.crystal.velocity_m_s))
    tau = pole_of_rise_us(edge.detector_rise_us)
    order = np.fft.rfftfreq(_PHASES, 1.0 / _PHASES)
    rows = []
    for f in as_values(modulation_khz):
        swing = 0.5 * edge.swing_v / float(np.hypot(1.0, f / edge.port_bandwidth_khz))
        spectrum = np.fft.rfft(_light_at(middle + swing * np.cos(phase), edge, bench))
        turns = 2e-3 * np.pi * f * order
        spectrum = spectrum * np.exp(-((turns * across / 4.0) ** 2) / 2.0) / (1.0 + 1j * turns * tau)
        light = np.fft.irfft(spectrum, _PHASES)
        most, least = (float(v) + rng.normal(0.0, edge.depth_noise_v) for v in (light.max(), light.min()))
        rows.append((float(f), most, least))
    table = pd.DataFrame(rows, columns=["modulation_khz", "most_v", "least_v"])
    return table.assign(u_most_v=edge.depth_noise_v, u_least_v=edge.depth_noise_v)


def _pole(values: Values, tau_us: float) -> Values:
    k = float(np.exp(-_FINE_US / tau_us))
    settled = [k * float(values[0])]
    return as_values(signal.lfilter([1.0 - k], [1.0, -k], values, zi=settled)[0])


def _rounded(values: Values, step: float) -> Values:
    return as_values(np.round(values / step) * step)


DEMO_MODULATION_KHZ = (5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 100.0, 130.0, 160.0, 200.0, 240.0, 280.0, 330.0)


def edge_text(rng: np.random.Generator, bench: BenchTruth = SKERRY, edge: EdgeTruth = SKERRY_EDGE) -> str:
    """Return the raw file of the trace pair: drive and light of a step on the flank of one line's passband."""
    note = f"generator steps the oscillator port on the flank of line {edge.line}; photodiode, 0.22 us from 10 to 90 %"
    columns = (("Time (us)", "time_s", 1e6, 3), ("Oscillator port (V)", "drive_v", 1.0, 4),
               ("Photodiode (mV)", "signal_v", 1e3, 0))  # fmt: skip
    return csv_text(note, edge_run(rng, bench, edge), columns)


def modulation_depth_text(rng: np.random.Generator, bench: BenchTruth = SKERRY, edge: EdgeTruth = SKERRY_EDGE) -> str:
    """Return the raw file of most and least light against the frequency of a sine at the oscillator's port."""
    note = f"sine of {1e3 * edge.swing_v:.0f} mVpp at the oscillator port, flank of line {edge.line}, dark subtracted"
    columns = (("Modulation (kHz)", "modulation_khz", 1.0, 1),
               ("Most (mV)", "most_v", 1e3, 1), ("u (mV)", "u_most_v", 1e3, 1),
               ("Least (mV)", "least_v", 1e3, 1), ("u (mV)", "u_least_v", 1e3, 1))  # fmt: skip
    return csv_text(note, modulation_run(rng, DEMO_MODULATION_KHZ, bench, edge), columns)
