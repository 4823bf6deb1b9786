"""The isotropic Bragg cell against published numbers and against the wave vectors themselves."""

import numpy as np
import pytest

from aotf_lab.physics.bragg import (
    HALF_DETUNING,
    Q_TIMES_BANDWIDTH,
    acoustic_bandwidth_mhz,
    bragg_angle_deg,
    bragg_detuning,
    klein_cook,
    modulation_frequency_mhz,
    rise_time_us,
    saturation_power_w,
    separation_deg,
)
from tests.house import published

FACTS = {row["fact"]: row for row in published("acousto_optics_facts.csv")}


def test_separation_of_the_orders():
    """shared/acousto_optics_facts.csv: university optics worked example, 514.5 nm, 100 MHz, 4200 m/s."""
    stated = float(FACTS["separation of orders outside an isotropic cell"]["value"].split()[0])
    assert float(separation_deg(514.5, 100.0, 4200.0)) == pytest.approx(stated, abs=5e-4)
    assert float(bragg_angle_deg(514.5, 100.0, 4200.0)) == pytest.approx(stated / 2, abs=5e-4)


def test_saturation_intensity():
    """Yariv 1973, eq. 94 (shared/acousto_optics_facts.csv): M2 = 1e-13 s3/kg, L = 5 mm, 1 um give 20 W/cm2."""
    note = FACTS["drive for full diffraction"]["note"]
    assert "20 W/cm^2" in note
    per_cm2 = float(saturation_power_w(1000.0, 1e-13, 5.0, 5.0)) / 0.25
    assert per_cm2 == pytest.approx(20.0, rel=1e-6)


def test_edges_of_a_gaussian_beam():
    """Young & Yao 1981 (shared/acousto_optics_facts.csv): 0.6408 D/v, 0.7496 v/D, product 0.480."""
    rise = float(FACTS["10-90 % rise time of a Gaussian beam"]["value"].split()[0])
    band = float(FACTS["optical -3 dB modulation frequency"]["value"].split()[0])
    assert float(rise_time_us(2.0, 1000.0)) == pytest.approx(2.0 * rise, abs=1e-4)
    assert float(modulation_frequency_mhz(2.0, 1000.0)) == pytest.approx(0.5 * band, abs=1e-4)
    assert float(rise_time_us(2.0, 640.0) * modulation_frequency_mhz(2.0, 640.0)) == pytest.approx(0.480, abs=5e-4)


def test_bandwidth_is_gordons():
    """Gordon, Proc. IEEE 54, 1391 (1966), from memory: 1.8 n v^2 / (wavelength L f0), two digits."""
    gordon = 1.8 * 2.26 * 4200.0**2 / (632.8e-9 * 0.020 * 70e6) / 1e6
    assert float(acoustic_bandwidth_mhz(70.0, 632.8, 4200.0, 20.0, 2.26)) == pytest.approx(gordon, rel=0.03)


def test_detuning_is_half_the_mismatch_of_the_wave_vectors():
    """Independent: |k_i + K| - k along the light, by the law of cosines, at the Bragg angle of the carrier."""
    nm, v, n, length_mm, f0 = 632.8, 4200.0, 2.26, 20.0, 80.0
    k = 2 * np.pi * n / (nm * 1e-9)
    sine = nm * 1e-9 * f0 * 1e6 / (2 * n * v)
    for f in (70.0, 78.0, 85.0, 95.0):
        wave = 2 * np.pi * f * 1e6 / v
        across = wave - k * sine
        along = np.sqrt(k**2 - across**2)
        mismatch = k * np.sqrt(1 - sine**2) - along
        ours = float(bragg_detuning(f, f0, nm, v, length_mm, n))
        assert abs(ours) == pytest.approx(abs(0.5 * mismatch * length_mm * 1e-3), rel=2e-3)


def test_half_of_the_light_is_left_at_half_the_bandwidth():
    band = float(acoustic_bandwidth_mhz(80.0, 632.8, 4200.0, 100.0, 2.26))
    ends = bragg_detuning(np.array([80.0 - band / 2, 80.0 + band / 2]), 80.0, 632.8, 4200.0, 100.0, 2.26)
    assert float(np.mean(np.abs(ends))) == pytest.approx(HALF_DETUNING, rel=1e-6)
    assert pytest.approx(np.sin(HALF_DETUNING) ** 2 / HALF_DETUNING**2, rel=1e-6) == 0.5


def test_klein_cook_parameter_by_hand():
    """Q = K^2 L / k (Klein & Cook 1967, from memory), with K and k by hand."""
    k, wave = 2 * np.pi * 2.26 / 632.8e-9, 2 * np.pi * 80e6 / 4200.0
    assert float(klein_cook(80.0, 632.8, 4200.0, 10.0, 2.26)) == pytest.approx(wave**2 * 0.010 / k, rel=1e-9)
    band = float(acoustic_bandwidth_mhz(80.0, 632.8, 4200.0, 10.0, 2.26))
    assert pytest.approx(Q_TIMES_BANDWIDTH * 80.0 / band, rel=1e-9) == wave**2 * 0.010 / k
