"""Simulated lamps before the crystal of the invented bench: readings with known truth, and what their owner knows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import constants
from uncertainties import ufloat

from aotf_lab.crystal import Scan, Tuning, fit_scan, fit_tuning
from aotf_lab.crystal.spectrum.response import Response, response_table
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.air import air_to_vacuum, vacuum_to_air
from aotf_lab.physics.coupled_waves import peak_efficiency
from aotf_lab.reading.readings import Readings
from aotf_lab.simulate.amplifier import supply_for
from aotf_lab.simulate.light import ScanPlan, passband_scan, true_peak_frequency, true_saturation_power
from aotf_lab.simulate.spectrum import LampTruth, SpectrumPlan, demo_lamp, diffracted_light, spectrum_scan
from aotf_lab.simulate.truth import SKERRY, BenchTruth

Floats = NDArray[np.float64]

RF_W = 0.25
MERCURY = ((546.22705, 0.020), (577.11983, 0.008), (579.22683, 0.009))
"""198Hg, vacuum nm (shared/lamp_lines.csv, CIPM/BIPM), with invented powers (mW)."""

SODIUM = ((589.1583, 0.020), (589.7558, 0.010))
"""Na D2 and D1, vacuum nm (NIST ASD, from memory), with invented powers (mW)."""

U_GAIN, U_RESPONSE, U_RESPONSE_SCALE, U_EFFICIENCY, U_LOBES = 0.03, 0.01, 0.02, 0.01, 0.05


def black_body_mw_per_nm(nm: Floats, kelvin: float = 2856.0, top: float = 0.05) -> Floats:
    """Return Planck's law, scaled to ``top`` mW/nm at 700 nm; constants by CODATA (scipy.constants).

    2856 K is the standard illuminant A (ISO/CIE 11664-2).
    """

    def planck(x_nm: Floats | float) -> Floats:
        x = np.asarray(x_nm) * 1e-9
        exponent = constants.h * constants.c / (x * constants.k * kelvin)
        return np.asarray(2 * constants.h * constants.c**2 / x**5 / np.expm1(exponent))

    return np.asarray(top * planck(nm) / planck(700.0))


def response(nm: Floats) -> Floats:
    """Return an invented detector's response, about that of silicon set to 550 nm."""
    return np.asarray(1.0 + 0.0022 * (nm - 550.0))


def flat(nm: Floats) -> Floats:
    """Return a faint continuum under lines (mW/nm)."""
    return np.full_like(nm, 1e-5)


LAMPS = {
    "white LED": LampTruth(demo_lamp().density_mw_per_nm, response=response),
    "black body 2856 K": LampTruth(black_body_mw_per_nm, response=response),
    "mercury": LampTruth(flat, MERCURY, response),
    "sodium": LampTruth(flat, SODIUM, response),
}


def bench(fwhm_mhz: float = 0.3, floor_mw: float = 1.5e-5) -> BenchTruth:
    """Return the invented bench with another passband, and a photodiode that still trails."""
    crystal = replace(SKERRY.crystal, fwhm_mhz=fwhm_mhz)
    meters = replace(SKERRY.instruments, head_floor_mw=floor_mw, head_lag_s=0.3, counter_error=0.0)
    return replace(SKERRY, crystal=crystal, instruments=meters)


@lru_cache(maxsize=16)
def lights(lamp: str, fwhm_mhz: float, plan: SpectrumPlan) -> tuple[Floats, Floats]:
    """Return the light of the main lobes and of the sidelobes (n,) in mW at the plan's rising frequencies."""
    crystal = bench(fwhm_mhz).crystal
    f = plan.frequency_mhz()
    lobes = diffracted_light(f, RF_W, LAMPS[lamp], crystal, sidelobes=0.0)
    return lobes, diffracted_light(f, RF_W, LAMPS[lamp], crystal) - lobes


def tuning_of(rng: np.random.Generator, truth: BenchTruth) -> Tuning:
    """Return a tuning curve through the bench's seven lines, wavelengths to 0.05 nm, frequencies to 3 kHz."""
    nm = air_to_vacuum(np.array([line.wavelength_air_nm for line in truth.lines]))
    f = np.array([float(true_peak_frequency(line.wavelength_air_nm, truth.crystal)) for line in truth.lines])
    table = pd.DataFrame({
        "wavelength_nm": nm + rng.normal(0, 0.05, nm.size), "u_wavelength_nm": 0.05,
        "frequency_mhz": f + rng.normal(0, 0.003, nm.size), "u_frequency_mhz": 0.003,
    })  # fmt: skip
    return fit_tuning(table)


def scans_of(rng: np.random.Generator, truth: BenchTruth) -> list[Scan]:
    """Return fitted scans of lines A, D and G at the RF power of the spectrum."""
    meters = replace(truth.instruments, head_floor_mw=1e-4)
    steady, scans = replace(truth, instruments=meters), []
    for name in "ADG":
        line = truth.line(name)
        f = float(true_peak_frequency(line.wavelength_air_nm, truth.crystal))
        step = 0.034 * truth.crystal.fwhm_mhz / 0.3
        plan = ScanPlan(supply_v=supply_for(RF_W, f), step_mhz=step)
        both = [passband_scan(rng, line, way, steady, plan) for way in ("up", "down")]
        scans.append(fit_scan(both, line=name, time_constant_s=0.3))
    return scans


@dataclass(frozen=True)
class Owner:
    """What the owner of a bench has besides the readings."""

    readings: list[Readings]
    response: Response
    efficiency: Response


def measured(
    rng: np.random.Generator, lamp: str, truth: BenchTruth, plan: SpectrumPlan, ways: tuple[str, ...] = ("up", "down")
) -> Owner:
    """Return the readings of a lamp with errors drawn at their stated sizes, and the stated response and efficiency."""
    lobe, beyond = lights(lamp, truth.crystal.fwhm_mhz, plan)
    light = lobe + (1.0 + U_LOBES * float(rng.standard_normal())) * beyond
    light = light / (1.0 + U_GAIN * float(rng.standard_normal()))
    gain = CommonError("power meter gain", "optical_power_mw", "relative", new_cause("power meter gain", U_GAIN))
    dark = truth.instruments.head_offset_mw + truth.instruments.head_floor_mw * float(rng.standard_normal()) / 10**0.5
    tables = []
    for way in ways:
        table = spectrum_scan(rng, LAMPS[lamp], way, truth, plan, light)
        u = np.hypot(truth.instruments.head_floor_mw, truth.instruments.head_noise * table["optical_power_mw"])
        table = table.assign(
            u_optical_power_mw=u, dark_power_mw=dark, u_dark_power_mw=truth.instruments.head_floor_mw / 10**0.5
        )
        tables.append(Readings(table, (gain,)))
    return Owner(tables, stated_response(rng), stated_efficiency(rng, truth))


def stated_response(rng: np.random.Generator) -> Response:
    """Return the response as its calibration states it, with errors drawn."""
    nm = np.linspace(430.0, 730.0, 7)
    true = response(nm) * (1.0 + U_RESPONSE_SCALE * float(rng.standard_normal()))
    value = true * (1.0 + U_RESPONSE * rng.standard_normal(nm.size))
    table = pd.DataFrame({"wavelength_nm": nm, "response": value, "u_response": U_RESPONSE * value})
    return response_table(table, u_scale=U_RESPONSE_SCALE)


def true_efficiency_nm(nm: Floats, truth: BenchTruth) -> Floats:
    """Return the true peak efficiency at vacuum wavelengths (nm)."""
    ratio = RF_W / true_saturation_power(vacuum_to_air(nm), truth.crystal)
    return np.asarray(truth.crystal.peak_efficiency * peak_efficiency(ratio))


def stated_efficiency(rng: np.random.Generator, truth: BenchTruth) -> Response:
    """Return the efficiency as measured at nine wavelengths, with errors drawn."""
    nm = np.linspace(430.0, 730.0, 25)
    error = np.interp(nm, nm[::3], rng.normal(0.0, U_EFFICIENCY, 9))
    causes = [ufloat(0.0, U_EFFICIENCY, tag="efficiency readings") for _ in range(9)]
    values = []
    for x, true, off in zip(nm, true_efficiency_nm(nm, truth), error, strict=True):
        j = min(int(np.searchsorted(nm[::3], x, side="right")) - 1, 7)
        share = float((x - nm[::3][j]) / (nm[::3][j + 1] - nm[::3][j]))
        values.append(true * (1.0 + off) * (1.0 + (1 - share) * causes[j] + share * causes[j + 1]))
    return Response("diffraction efficiency", nm, np.array(values, dtype=object))
