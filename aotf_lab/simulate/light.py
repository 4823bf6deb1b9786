"""The crystal and the lasers of the invented bench: true efficiency, and the readings of the power meter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.physics.phase_matching import phase_matched_frequency
from aotf_lab.simulate.amplifier import scope_level, supply_for, true_rf_power
from aotf_lab.simulate.truth import SKERRY, BenchTruth, CrystalTruth, InstrumentTruth, LineTruth

__all__ = [
    "DEMO_SCAN",
    "ScanPlan",
    "dark_reading",
    "efficiency_run",
    "head_readings",
    "laser_wander",
    "passband_scan",
    "scan_rows",
    "trailing_light",
    "true_efficiency",
    "true_fwhm",
    "true_peak_frequency",
    "true_saturation_power",
]

CRYSTAL_TEMPERATURE_C = 22.6


def true_peak_frequency(
    wavelength_air_nm: ArrayLike,
    truth: CrystalTruth = SKERRY.crystal,
    temperature_c: ArrayLike = CRYSTAL_TEMPERATURE_C,
) -> Values:
    """Return the true frequency (MHz) that diffracts the wavelength(s) in air (nm) best.

    >>> [round(float(f), 2) for f in true_peak_frequency([449.6, 473.06])]
    [93.21, 86.34]
    """
    wavelength = air_to_vacuum(wavelength_air_nm)
    frequency = phase_matched_frequency(wavelength, truth.incidence_deg, truth.acoustic_angle_deg, truth.velocity_m_s)
    warmth = as_values(temperature_c) - truth.reference_temperature_c
    return as_values(frequency * (1.0 + truth.temperature_per_k * warmth))


def true_fwhm(frequency_mhz: ArrayLike, truth: CrystalTruth = SKERRY.crystal) -> Values:
    """Return the true width at half of the peak (MHz), in weak drive and before it leans, at frequency (MHz).

    >>> round(float(true_fwhm(94.0)), 3)
    0.318
    """
    away = (as_values(frequency_mhz) - truth.fwhm_reference_mhz) / truth.fwhm_span_mhz
    return as_values(truth.fwhm_mhz * (1.0 + truth.fwhm_slope * away))


def true_saturation_power(wavelength_air_nm: ArrayLike, truth: CrystalTruth = SKERRY.crystal) -> Values:
    """Return the true forward power (W) of full diffraction at wavelength(s) in air (nm): as the wavelength squared."""
    ratio = as_values(wavelength_air_nm) / truth.saturation_wavelength_nm
    return as_values(truth.saturation_power_w * ratio**2)


def true_efficiency(
    frequency_mhz: ArrayLike,
    rf_power_w: ArrayLike,
    wavelength_air_nm: float,
    truth: CrystalTruth = SKERRY.crystal,
    temperature_c: float = CRYSTAL_TEMPERATURE_C,
) -> Values:
    """Return the true efficiency (0 to 1) of a line at frequency (MHz) and forward power (W); they broadcast.

    The passband leans: wider above the peak and narrower below it, by the skew. The peak stays where phase
    matching puts it.
    """
    peak = true_peak_frequency(wavelength_air_nm, truth, temperature_c)
    detuning = np.pi * float(passband_fwhm(0.0)) * (as_values(frequency_mhz) - peak) / true_fwhm(peak, truth)
    ratio = as_values(rf_power_w) / true_saturation_power(wavelength_air_nm, truth)
    return as_values(truth.peak_efficiency * diffraction_efficiency(_leaning(detuning, truth.skew), ratio))


def _leaning(detuning: Values, skew: float) -> Values:
    """Return the detuning times 1 - skew tanh(detuning): less above the peak, so that the light falls later there."""
    return as_values(detuning * (1.0 - skew * np.tanh(detuning)))


@dataclass(frozen=True)
class ScanPlan:
    """How a passband is scanned: a script steps the drive, waits, notes counter and power meter, and steps on.

    The thermal head has no time to settle within ``dwell_s``, so its reading trails the light.
    """

    points: int = 31
    step_mhz: float = 0.034
    dwell_s: float = 0.5
    supply_v: float = 6.0

    def offsets_mhz(self, direction: str) -> Values:
        """Return the steps (MHz) about the middle of the scan, in order of time, for "up" or "down"."""
        rising = self.step_mhz * (np.arange(self.points) - (self.points - 1) / 2)
        return as_values(rising if direction == "up" else rising[::-1])


DEMO_SCAN = ScanPlan()


def passband_scan(
    rng: np.random.Generator,
    line: LineTruth,
    direction: str = "up",
    truth: BenchTruth = SKERRY,
    plan: ScanPlan = DEMO_SCAN,
    *,
    middle_mhz: float | None = None,
) -> pd.DataFrame:
    """Return the readings of one scan of a line, one row per step, in order of time.

    Columns ``time_s``, ``frequency_mhz``, ``optical_power_mw``, ``dark_power_mw`` (one number: the mean of ten
    dark readings) as the instruments show them. The scan is centred on ``middle_mhz``, by default on the peak to
    within 30 kHz, as found by turning the knob.
    """
    meters = truth.instruments
    peak = float(true_peak_frequency(line.wavelength_air_nm, truth.crystal))
    middle = peak + rng.uniform(-0.03, 0.03) if middle_mhz is None else middle_mhz
    frequency = middle + plan.offsets_mhz(direction)
    frequency = frequency + rng.normal(0.0, truth.oscillator.jitter_mhz, plan.points)
    power_w = true_rf_power(plan.supply_v, frequency, truth.amplifier)
    light = line.incident_power_mw * true_efficiency(frequency, power_w, line.wavelength_air_nm, truth.crystal)
    light = light * (1.0 + laser_wander(rng, plan.points, plan.dwell_s, meters))
    shown = head_readings(rng, trailing_light(light, plan.dwell_s, meters.head_lag_s), meters)
    return scan_rows(rng, frequency, shown, truth, plan)


def scan_rows(
    rng: np.random.Generator, frequency_mhz: Values, shown_mw: Values, truth: BenchTruth, plan: ScanPlan
) -> pd.DataFrame:
    """Return a scan as ``passband_scan`` does, from true frequencies (n,) and what the meter showed (n,)."""
    meters = truth.instruments
    return pd.DataFrame(
        {
            "time_s": plan.dwell_s * (1.0 + np.arange(plan.points)),
            "frequency_mhz": frequency_mhz * (1.0 + meters.counter_error),
            "optical_power_mw": shown_mw,
            "dark_power_mw": np.full(plan.points, dark_reading(rng, meters)),
        }
    )


def efficiency_run(
    rng: np.random.Generator,
    line: LineTruth,
    drive_ratios: ArrayLike,
    truth: BenchTruth = SKERRY,
    *,
    supply_step_v: float = 0.05,
) -> pd.DataFrame:
    """Return the readings of diffracted and incident light while the amplifier's supply is raised.

    One row for each of ``drive_ratios`` (true power over saturation power), at the supply nearest to it in steps of
    ``supply_step_v``, tuned to the line's peak. Columns ``supply_v``, ``rf_level_vrms``, ``frequency_mhz``,
    ``optical_power_mw``, ``incident_power_mw``, ``dark_power_mw``; the head settles before each reading.
    """
    meters = truth.instruments
    peak = float(true_peak_frequency(line.wavelength_air_nm, truth.crystal))
    saturation_w = float(true_saturation_power(line.wavelength_air_nm, truth.crystal))
    ratios = as_values(drive_ratios)
    wanted = [supply_for(float(r) * saturation_w, peak, truth.amplifier) for r in ratios]
    supply = supply_step_v * np.round(np.array(wanted) / supply_step_v)
    frequency = peak + rng.normal(0.0, truth.oscillator.jitter_mhz, ratios.size)
    power_w = true_rf_power(supply, frequency, truth.amplifier)
    efficiency = true_efficiency(frequency, power_w, line.wavelength_air_nm, truth.crystal)
    incident, during = line.incident_power_mw * (1.0 + rng.normal(0.0, meters.laser_wander, (2, ratios.size)))
    return pd.DataFrame(
        {
            "supply_v": supply,
            "rf_level_vrms": scope_level(rng, power_w, frequency, truth),
            "frequency_mhz": frequency * (1.0 + meters.counter_error),
            "optical_power_mw": head_readings(rng, during * efficiency, meters),
            "incident_power_mw": head_readings(rng, incident, meters),
            "dark_power_mw": [dark_reading(rng, meters) for _ in ratios],
        }
    )


def laser_wander(rng: np.random.Generator, points: int, interval_s: float, meters: InstrumentTruth) -> Values:
    """Return a laser's relative wander: a stationary process that forgets itself exponentially."""
    time_s = meters.laser_wander_time_s
    kept = float(np.exp(-interval_s / time_s)) if time_s > 0 else 0.0
    kicks = rng.standard_normal(points) * np.where(np.arange(points) > 0, (1.0 - kept**2) ** 0.5, 1.0)
    return as_values(meters.laser_wander * _recursive(kicks, kept, 1.0))


def trailing_light(light_mw: Values, dwell_s: float, lag_s: float) -> Values:
    """Return what a first-order head shows at the end of each dwell, settled on the first before the scan began."""
    kept = float(np.exp(-dwell_s / lag_s)) if lag_s > 0 else 0.0
    start = float(light_mw[0])
    return as_values(start + _recursive(light_mw - start, kept, 1.0 - kept))


def _recursive(values: Values, kept: float, taken: float) -> Values:
    """Return y with y_k = kept y_(k-1) + taken x_k, from y = 0."""
    shown, state = np.empty_like(values), 0.0
    for k, value in enumerate(values):
        state = kept * state + taken * float(value)
        shown[k] = state
    return shown


def head_readings(rng: np.random.Generator, light_mw: Values, meters: InstrumentTruth) -> Values:
    """Return what the thermal head shows of settled light (mW): scatter, floor and offset."""
    noisy = light_mw * (1.0 + meters.head_noise * rng.standard_normal(light_mw.shape)) + meters.head_offset_mw
    return as_values(noisy + meters.head_floor_mw * rng.standard_normal(light_mw.shape))


def dark_reading(rng: np.random.Generator, meters: InstrumentTruth, readings: int = 10) -> float:
    """Return the mean (mW) of ``readings`` of the head in the dark."""
    return meters.head_offset_mw + meters.head_floor_mw * float(rng.standard_normal()) / float(np.sqrt(readings))
