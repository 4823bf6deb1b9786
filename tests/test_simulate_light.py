"""The simulated crystal keeps to phase matching and coupled waves. Invented data: consistency checks.

Outside values: the first sidelobe at -13.26 dB in weak drive (coupled waves, e.g. Yariv & Yeh 1984) and the mean
age of an exponential average, a/(1 - a) steps (geometric series).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError
from aotf_lab.simulate.light import (
    ScanPlan,
    efficiency_run,
    passband_scan,
    true_efficiency,
    true_fwhm,
    true_peak_frequency,
    true_saturation_power,
)
from aotf_lab.simulate.oscillator import oscillator_frequency
from aotf_lab.simulate.truth import SKERRY

QUIET = replace(
    SKERRY,
    oscillator=replace(SKERRY.oscillator, jitter_mhz=0.0),
    instruments=replace(
        SKERRY.instruments, counter_error=0.0, head_lag_s=0.0, head_floor_mw=0.0, head_offset_mw=0.0, head_noise=0.0,
        laser_wander=0.0, scope_noise=0.0,
    ),
)  # fmt: skip
LINE = SKERRY.line("E")


def centroid(table):
    """Return the centre of gravity of a scan; with tails cut alike on both sides."""
    weight = table["optical_power_mw"].to_numpy()
    return float(np.sum(weight * table["frequency_mhz"]) / np.sum(weight))


@pytest.mark.parametrize(("name", "frequency_mhz"), [("A", 93.20), ("B", 86.34)])
def test_lines_with_ghosts_stand_where_phase_matching_puts_them(name, frequency_mhz):
    peak = float(true_peak_frequency(SKERRY.line(name).wavelength_air_nm, temperature_c=22.0))
    assert round(peak, 2) == frequency_mhz


@pytest.mark.parametrize(("name", "drive_v"), [("D", 6.75), ("E", 5.39)])
def test_the_pair_of_the_generator_story_needs_these_levels(name, drive_v):
    peak = float(true_peak_frequency(SKERRY.line(name).wavelength_air_nm))
    found = brentq(lambda v: float(oscillator_frequency(v)) - peak, *SKERRY.oscillator.drive_range_v)
    assert found == pytest.approx(drive_v, abs=0.006)


def test_every_line_lies_within_the_oscillators_range():
    ends = oscillator_frequency(SKERRY.oscillator.drive_range_v)
    for line in SKERRY.lines:
        assert ends[0] < true_peak_frequency(line.wavelength_air_nm) < ends[1]


def test_the_stated_wavelengths_err_within_twice_their_uncertainty():
    for line in SKERRY.lines:
        assert abs(line.label_nm - line.wavelength_air_nm) <= 2 * line.u_label_nm


def test_the_light_peaks_where_phase_matching_says_in_spite_of_the_lean():
    peak = float(true_peak_frequency(LINE.wavelength_air_nm))
    frequency = peak + np.linspace(-0.1, 0.1, 20001)
    light = true_efficiency(frequency, 0.2, LINE.wavelength_air_nm)
    assert frequency[np.argmax(light)] == pytest.approx(peak, abs=1e-4)


def test_weak_drive_has_the_width_and_the_sidelobes_of_coupled_waves():
    upright = replace(SKERRY.crystal, skew=0.0)
    peak = float(true_peak_frequency(LINE.wavelength_air_nm))
    width = float(true_fwhm(peak))
    weak = true_efficiency(peak + width * np.array([-0.5, 0.0, 0.5]), 1e-6, LINE.wavelength_air_nm, upright)
    assert weak / weak[1] == pytest.approx([0.5, 1.0, 0.5], abs=1e-5)
    beyond = true_efficiency(peak + width * np.linspace(1.2, 2.2, 4001), 1e-6, LINE.wavelength_air_nm, upright)
    assert 10 * np.log10(beyond.max() / weak[1]) == pytest.approx(-13.26, abs=0.005)


def test_saturation_goes_as_the_wavelength_squared_and_stays_below_the_rating():
    powers = true_saturation_power([line.wavelength_air_nm for line in SKERRY.lines])
    assert true_saturation_power(589.0) == pytest.approx(0.415)
    assert powers[-1] / powers[1] == pytest.approx((671.17 / 473.04) ** 2)
    assert powers.max() < SKERRY.crystal.rated_power_w
    peak = float(true_peak_frequency(LINE.wavelength_air_nm))
    saturation = float(true_saturation_power(LINE.wavelength_air_nm))
    assert true_efficiency(peak, saturation, LINE.wavelength_air_nm) == pytest.approx(SKERRY.crystal.peak_efficiency)


@pytest.mark.parametrize("direction", ["up", "down"])
def test_the_lag_shifts_a_scan_by_46_khz_along_its_way(direction):
    plan = ScanPlan(points=601)
    slow = replace(QUIET, instruments=replace(QUIET.instruments, head_lag_s=SKERRY.instruments.head_lag_s))
    middle = float(true_peak_frequency(LINE.wavelength_air_nm))
    still, trailing = (
        centroid(passband_scan(np.random.default_rng(0), LINE, direction, bench, plan, middle_mhz=middle))
        for bench in (QUIET, slow)
    )
    kept = np.exp(-plan.dwell_s / SKERRY.instruments.head_lag_s)
    expected = (1 if direction == "up" else -1) * plan.step_mhz * kept / (1 - kept)
    assert abs(expected) == pytest.approx(0.046, abs=0.0005)
    assert trailing - still == pytest.approx(expected, rel=0.02)


def test_a_scan_scatters_as_laser_and_head_do():
    steady = replace(SKERRY, oscillator=replace(SKERRY.oscillator, jitter_mhz=0.0))
    steady = replace(steady, instruments=replace(steady.instruments, head_lag_s=0.0))
    middle = float(true_peak_frequency(LINE.wavelength_air_nm))
    quiet = passband_scan(np.random.default_rng(0), LINE, "up", QUIET, middle_mhz=middle)["optical_power_mw"][15]
    tops = [passband_scan(np.random.default_rng(s), LINE, "up", steady, middle_mhz=middle) for s in range(1500)]
    readings = np.array([t["optical_power_mw"][15] - t["dark_power_mw"][15] for t in tops])
    assert np.mean(readings) == pytest.approx(quiet, rel=0.002)
    assert np.std(readings) / quiet == pytest.approx(np.hypot(0.012, 0.004), rel=0.06)


def test_an_efficiency_run_without_noise_gives_the_true_efficiency():
    table = efficiency_run(np.random.default_rng(0), LINE, [0.2, 0.6, 1.5], QUIET)
    peak = float(true_peak_frequency(LINE.wavelength_air_nm))
    ratio = table["optical_power_mw"] / table["incident_power_mw"]
    law = 0.88 * np.sin(np.pi / 2 * np.sqrt([0.2, 0.6, 1.5])) ** 2
    assert ratio.to_numpy() == pytest.approx(law, abs=0.006)
    assert table["frequency_mhz"].to_numpy() == pytest.approx(peak)
    assert table["supply_v"].to_numpy() * 20 == pytest.approx(np.round(table["supply_v"] * 20))


def test_an_unknown_line_is_named():
    with pytest.raises(AotfLabError, match="found 'Q'; allowed: A, B, C, D, E, F, G"):
        SKERRY.line("Q")
