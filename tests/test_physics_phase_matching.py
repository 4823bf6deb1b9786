"""Exact phase matching against an independent construction, and its behaviour."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError, MaterialError
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import (
    incidence_for,
    interaction_birefringence,
    parallel_tangent_acoustic_angle,
    parallel_tangent_frequency,
    phase_matched_frequency,
)

POLARISATIONS = ("ordinary", "extraordinary")
few = settings(max_examples=40, deadline=None)


def _by_construction_mhz(wavelength_nm, incidence_deg, acoustic_angle_deg, velocity_m_s, incident):
    """Find the frequency by walking along the acoustic wave vector until it meets the other index surface."""
    n_o, n_e = float(ordinary_index(wavelength_nm)), float(extraordinary_index(wavelength_nm))
    turn = np.radians(incidence_deg)
    light = np.array([np.sin(turn), np.cos(turn)])
    tilt = np.radians(acoustic_angle_deg)
    sound = np.array([np.cos(tilt), -np.sin(tilt)])

    def ellipsoid(k):
        return (k[0] / n_e) ** 2 + (k[1] / n_o) ** 2 - 1.0

    def sphere(k):
        return (k @ k) / n_o**2 - 1.0

    if incident == "ordinary":
        start, target, sign = n_o * light, ellipsoid, 1.0
    else:
        start, target, sign = (
            brentq(lambda n: ellipsoid(n * light), 0.5 * n_o, 2 * n_e, xtol=1e-15) * light,
            sphere,
            -1.0,
        )
    steps = np.linspace(1e-6, 0.4, 4001)
    values = np.array([target(start + sign * step * sound) for step in steps])
    first = int(np.flatnonzero(np.diff(np.sign(values)))[0])
    grating = brentq(lambda step: target(start + sign * step * sound), steps[first], steps[first + 1], xtol=1e-15)
    return grating * velocity_m_s / (wavelength_nm * 1e-9) * 1e-6


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize(("incidence_deg", "acoustic_angle_deg"), [(10.6, 5.3), (10.0, 4.0), (18.0, 8.0), (25.0, 11.0)])
def test_frequency_meets_the_vector_construction_within_a_kilohertz(incidence_deg, acoustic_angle_deg, incident):
    wavelengths_nm = np.array([405.0, 450.0, 532.0, 589.0, 633.0, 700.0, 990.0])
    found = phase_matched_frequency(wavelengths_nm, incidence_deg, acoustic_angle_deg, 640.0, incident=incident)
    for wavelength_nm, frequency_mhz in zip(wavelengths_nm, found, strict=True):
        expected = _by_construction_mhz(wavelength_nm, incidence_deg, acoustic_angle_deg, 640.0, incident)
        assert abs(frequency_mhz - expected) < 1e-3


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("incidence_deg", [8.0, 15.0, 25.0])
def test_parallel_tangents_make_the_frequency_stationary_in_the_incidence(incidence_deg, incident):
    cut = parallel_tangent_acoustic_angle(600.0, incidence_deg, incident=incident)
    around = incidence_deg + np.array([-0.1, 0.1])
    at_cut = phase_matched_frequency(600.0, around, cut, 640.0, incident=incident)
    off_cut = phase_matched_frequency(600.0, around, cut - 1.0, 640.0, incident=incident)
    assert np.ptp(at_cut) < 0.01 * np.ptp(off_cut)


@pytest.mark.parametrize("incident", POLARISATIONS)
@few
@given(wavelength_nm=st.floats(450.0, 700.0), incidence_deg=st.floats(5.1, 34.9))
def test_incidence_is_found_again(incident, wavelength_nm, incidence_deg):
    frequency_mhz = float(parallel_tangent_frequency(wavelength_nm, incidence_deg, incident=incident))
    assert incidence_for(wavelength_nm, frequency_mhz, incident=incident) == pytest.approx(incidence_deg, abs=1e-7)


@pytest.mark.parametrize("incident", POLARISATIONS)
def test_design_wavelength_sets_the_cut(incident):
    cut = parallel_tangent_acoustic_angle(560.0, 16.0, incident=incident)
    wavelengths_nm = np.linspace(450.0, 700.0, 6)
    expected = phase_matched_frequency(wavelengths_nm, 16.0, cut, incident=incident)
    np.testing.assert_array_equal(parallel_tangent_frequency(wavelengths_nm, 16.0, 560.0, incident=incident), expected)
    assert np.all(np.diff(expected) < 0)


def test_arguments_broadcast_and_a_scalar_stays_one():
    grid = phase_matched_frequency(np.array([[450.0], [600.0]]), np.array([10.0, 12.0, 14.0]), 5.0)
    assert grid.shape == (2, 3)
    assert grid[1, 2] == phase_matched_frequency(600.0, 14.0, 5.0)
    assert isinstance(phase_matched_frequency(600.0, 14.0, 5.0), np.float64)


def test_birefringence_of_the_interaction_is_velocity_free():
    slow = phase_matched_frequency(600.0, 12.0, 5.0, 600.0)
    fast = phase_matched_frequency(600.0, 12.0, 5.0, 700.0)
    expected = interaction_birefringence(600.0, slow, 600.0)
    assert interaction_birefringence(600.0, fast, 700.0) == pytest.approx(expected, rel=1e-12)


def test_larger_birefringence_needs_a_higher_frequency():
    assert phase_matched_frequency(600.0, 12.0, 5.0, pole_shift_nm=1.0) > phase_matched_frequency(600.0, 12.0, 5.0)


def test_negative_crystal_is_phase_matched_too():
    cut = parallel_tangent_acoustic_angle(600.0, 12.0, "LiNbO3 congruent")
    around = phase_matched_frequency(600.0, [11.5, 12.5], cut, 4000.0, "LiNbO3 congruent")
    assert around[0] > 0
    assert around[1] == pytest.approx(around[0], rel=3e-3)


def test_polarisation_must_be_one_of_two():
    with pytest.raises(AotfLabError, match=r"found 'circular'; allowed: ordinary, extraordinary"):
        phase_matched_frequency(600.0, 12.0, 5.0, incident="circular")


@pytest.mark.parametrize("incidence_deg", [0.0, -3.0, 91.0, np.nan])
def test_incidence_without_phase_matching(incidence_deg):
    with pytest.raises(AotfLabError, match=rf"found {incidence_deg:g}; allowed: above 0 to 90 deg"):
        parallel_tangent_acoustic_angle(600.0, incidence_deg)


def test_sound_that_misses_the_other_surface():
    with pytest.raises(AotfLabError, match=r"no diffracted wave can be reached .*; found 5; allowed"):
        phase_matched_frequency(600.0, 5.0, 5.0, incident="extraordinary")


def test_velocity_is_packaged_for_one_crystal_only():
    with pytest.raises(MaterialError, match=r"no packaged acoustic velocity .*found 'quartz'; allowed: TeO2"):
        phase_matched_frequency(600.0, 12.0, 5.0, material="quartz")


def test_frequency_that_no_cut_takes():
    with pytest.raises(AotfLabError, match=r"at 561 nm; found 300; allowed: .* to .* MHz; check the line's label"):
        incidence_for(561.0, 300.0)
