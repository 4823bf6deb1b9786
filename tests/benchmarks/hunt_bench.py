"""Random benches for the hunt: seven lines through a random cut, and what a sweep over them truly holds."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.physics.phase_matching import parallel_tangent_acoustic_angle
from aotf_lab.simulate.amplifier import true_rf_power
from aotf_lab.simulate.hunt import HuntPlan
from aotf_lab.simulate.light import true_efficiency, true_fwhm, true_peak_frequency
from aotf_lab.simulate.truth import SKERRY, BenchTruth, CrystalTruth, LineTruth


@dataclass(frozen=True)
class Scenario:
    """How the benches of one row of the table differ from the usual ones."""

    name: str
    benches: int
    both_ways: bool = False
    step_mhz: float | None = None
    second: bool = False
    at_half: bool = False
    light: bool = True
    harmonics_told: bool = False
    lines_told: bool = False


@dataclass(frozen=True)
class TruePeak:
    """A peak of the truth: its kind, line, order, true frequency (MHz), FWHM (MHz) and height (mW)."""

    kind: str
    line: str
    order: int
    frequency_mhz: float
    fwhm_mhz: float
    height_mw: float


@dataclass(frozen=True)
class Bench:
    truth: BenchTruth
    plan: HuntPlan
    peaks: tuple[TruePeak, ...]


def draw_bench(scenario: Scenario, rng: np.random.Generator) -> Bench:
    incidence = rng.uniform(9.5, 14.0)
    sound = float(parallel_tangent_acoustic_angle(rng.uniform(520.0, 640.0), incidence))
    velocity = float(slow_shear_velocity(sound)) * (1 + rng.normal(0.0, 0.002))
    width = rng.uniform(0.22, 0.40)
    crystal = replace(
        SKERRY.crystal, incidence_deg=incidence, acoustic_angle_deg=sound, velocity_m_s=velocity, fwhm_mhz=width,
        skew=rng.uniform(0.0, 0.12), peak_efficiency=rng.uniform(0.7, 0.95), saturation_power_w=rng.uniform(0.3, 0.6),
    )  # fmt: skip
    levels = ((2, rng.uniform(-26.0, -12.0)), (3, rng.uniform(-32.0, -16.0)))
    meters = replace(
        SKERRY.instruments, head_lag_s=float(rng.choice([0.0, rng.uniform(0.3, 1.2)])),
        head_floor_mw=float(np.exp(rng.uniform(np.log(5e-4), np.log(3e-3)))), laser_wander=rng.uniform(0.003, 0.02),
        laser_wander_time_s=float(np.exp(rng.uniform(0.0, 3.0))), head_noise=rng.uniform(0.001, 0.006),
    )  # fmt: skip
    wavelengths = np.sort(rng.uniform(450.0, 700.0, 7))
    lines = tuple(
        LineTruth(name, float(nm), float(nm), 0.1, True, float(np.exp(rng.uniform(np.log(0.4), np.log(5.0)))))
        for name, nm in zip("ABCDEFG", wavelengths, strict=True)
    )
    if scenario.at_half:
        levels = ((2, -60.0), (3, -70.0))
        lines = (*lines, _at_half(lines, crystal, rng))
    amplifier = replace(SKERRY.amplifier, harmonics_dbc=levels, bow_db=0.4)
    truth = replace(SKERRY, crystal=crystal, amplifier=amplifier, instruments=meters, lines=lines)
    tops = true_peak_frequency([line.wavelength_air_nm for line in lines], crystal)
    second = float(rng.choice([-1.0, 1.0]) * rng.uniform(1.3, 2.8) * width) if scenario.second else 0.0
    step = scenario.step_mhz or rng.uniform(0.12, 0.22) * width
    low = 0.5 * np.max(tops) - rng.uniform(1.0, 4.0)
    plan = HuntPlan(
        start_mhz=float(min(low, np.min(tops) - 2.0)), stop_mhz=float(np.max(tops) + rng.uniform(1.5, 4.0)),
        step_mhz=float(step), dwell_s=rng.uniform(0.4, 0.9), supply_v=rng.uniform(5.5, 8.5),
        both_ways=scenario.both_ways, second_mhz=second, second_share=rng.uniform(0.08, 0.35) if second else 0.0,
    )  # fmt: skip
    return Bench(truth, plan, _peaks(truth, plan))


def _at_half(lines: tuple[LineTruth, ...], crystal: CrystalTruth, rng: np.random.Generator) -> LineTruth:
    """Return a line whose frequency is half of another's to 3 kHz, as faint as a ghost is."""
    other = lines[0]
    wanted = 0.5 * float(true_peak_frequency(other.wavelength_air_nm, crystal)) + rng.normal(0.0, 0.003)
    nm = brentq(lambda w: float(true_peak_frequency(w, crystal)) - wanted, 600.0, 999.0)
    return LineTruth("H", float(nm), float(nm), 0.1, True, other.incident_power_mw * 10 ** rng.uniform(-1.6, -0.4))


def _peaks(truth: BenchTruth, plan: HuntPlan) -> tuple[TruePeak, ...]:
    made = []
    shares = [("line", 0.0, 1.0 - plan.second_share)]
    if plan.second_share:
        shares.append(("other polarisation", plan.second_mhz, plan.second_share))
    for line in truth.lines:
        top = float(true_peak_frequency(line.wavelength_air_nm, truth.crystal))
        width = float(true_fwhm(top, truth.crystal))
        for n, dbc in ((1, 0.0), *truth.amplifier.harmonics_dbc):
            for kind, shift, share in shares:
                place = (top + shift) / n
                power = float(true_rf_power(plan.supply_v, place, truth.amplifier)) * 10 ** (dbc / 10)
                eta = float(true_efficiency(top, power, line.wavelength_air_nm, truth.crystal))
                if plan.start_mhz <= place <= plan.stop_mhz:
                    what = kind if n == 1 else "ghost"
                    height = line.incident_power_mw * share * eta
                    made.append(TruePeak(what, line.name, n, place, width / n, height))
    return tuple(made)


def apart(peak: TruePeak, peaks: tuple[TruePeak, ...]) -> bool:
    """Is the peak clear of all light that could hide it: 1.2 widths from its like, more from what is much higher?"""
    for other in peaks:
        if other is peak:
            continue
        gap = abs(other.frequency_mhz - peak.frequency_mhz)
        reach = 1.2 * max(other.fwhm_mhz, peak.fwhm_mhz)
        if other.height_mw > 3.0 * peak.height_mw:
            reach = max(reach, other.fwhm_mhz * (1.5 + 0.4 * (other.height_mw / peak.height_mw) ** 0.5))
        if gap < reach:
            return False
    return True


def vacuum_nm(line: LineTruth) -> float:
    return float(air_to_vacuum(line.wavelength_air_nm))
