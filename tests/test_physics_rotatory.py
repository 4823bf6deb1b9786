"""Optical activity against Maxwell's equations solved as they stand, and what it does to phase matching."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq

from aotf_lab.crystal import fit_tuning
from aotf_lab.errors import AotfLabError, MaterialError
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import phase_matched_frequency
from aotf_lab.physics.rotatory import (
    active_indices,
    activity_shift_khz,
    circular_birefringence,
    rotatory_power_deg_per_mm,
)

POLARISATIONS = ("ordinary", "extraordinary")
LINES_NM = np.array([449.73, 473.17, 518.04, 556.48, 589.08, 637.58, 671.36])


def _by_maxwell(wavelength_nm, angle_rad):
    """Both indices from D = eps E + i g x E: 1/n^2 are the eigenvalues of the inverse, taken across the wave vector."""
    n_o, n_e = float(ordinary_index(wavelength_nm)), float(extraordinary_index(wavelength_nm))
    g = n_o * float(circular_birefringence(wavelength_nm)) * np.cos(angle_rad)  # g33 s_z, along [001]
    dielectric = np.diag([n_o**2, n_o**2, n_e**2]).astype(complex)
    dielectric[0, 1], dielectric[1, 0] = -1j * g, 1j * g
    across = np.array([[np.cos(angle_rad), 0.0, -np.sin(angle_rad)], [0.0, 1.0, 0.0]])
    return np.sort(np.linalg.eigvalsh(across @ np.linalg.inv(dielectric) @ across.T) ** -0.5)


@pytest.mark.parametrize("angle_deg", [0.0, 0.5, 2.7, 5.0, 10.6, 20.0])
def test_indices_solve_maxwells_equations(angle_deg):
    found = np.array(active_indices(600.0, angle_deg))
    np.testing.assert_allclose(found, _by_maxwell(600.0, np.radians(angle_deg)), rtol=0, atol=3e-8)


def test_activity_parts_the_waves_on_the_axis_and_drowns_off_it():
    plain = extraordinary_index(600.0) - ordinary_index(600.0)
    low, high = active_indices(600.0, [0.0, 90.0])
    assert high[0] - low[0] == pytest.approx(float(circular_birefringence(600.0)), rel=1e-6)
    assert high[1] - low[1] == pytest.approx(float(plain), rel=1e-12)


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("wavelength_nm", [450.0, 589.0, 671.0, 990.0])
def test_shift_meets_a_search_on_maxwells_surfaces(wavelength_nm, incident):
    light, sound, velocity = np.radians(10.6), np.radians(5.3), 643.4
    first, sign = (0, 1.0) if incident == "ordinary" else (1, -1.0)
    start = _by_maxwell(wavelength_nm, light)[first] * np.array([np.sin(light), np.cos(light)])

    def mismatch(grating):
        end = start + sign * grating * np.array([np.cos(sound), -np.sin(sound)])
        return np.hypot(*end) - _by_maxwell(wavelength_nm, np.arctan2(*end))[1 - first]

    plain = float(phase_matched_frequency(wavelength_nm, 10.6, 5.3, velocity, incident=incident))
    near = plain * wavelength_nm * 1e-3 / velocity
    active = brentq(mismatch, 0.97 * near, 1.03 * near, xtol=1e-15) * velocity / wavelength_nm * 1e3
    found = float(activity_shift_khz(wavelength_nm, 10.6, 5.3, velocity, incident=incident))
    assert found == pytest.approx(1e3 * (active - plain), abs=1.0)


def test_size_of_what_is_neglected_at_the_cut_of_the_demo():
    ordinary = activity_shift_khz([450.0, 589.0, 671.0], 10.6, 5.3, 643.4)
    other = activity_shift_khz([450.0, 589.0, 671.0], 10.6, 5.3, 643.4, incident="extraordinary")
    np.testing.assert_allclose(ordinary, [438.7, 121.3, 71.1], atol=0.1)
    np.testing.assert_allclose(other / ordinary, 1.93, atol=0.09)


def test_neglect_shrinks_as_the_light_leaves_the_axis():
    shift = activity_shift_khz(589.0, [6.0, 8.0, 10.6, 16.0, 25.0], [3.0, 4.0, 5.3, 7.5, 10.0])
    assert np.all(np.diff(shift) < 0)
    assert shift[-1] < 10.0


@pytest.mark.parametrize(("incident", "left_khz"), [("ordinary", 4.0), ("extraordinary", 11.0)])
def test_fitted_tuning_curve_absorbs_it(incident, left_khz):
    moved = activity_shift_khz(LINES_NM, 10.6, 5.3, 643.4, incident=incident)
    mhz = phase_matched_frequency(LINES_NM, 10.6, 5.3, 643.4, incident=incident) + 1e-3 * moved
    lines = pd.DataFrame({"wavelength_nm": LINES_NM, "u_wavelength_nm": 0.02, "frequency_mhz": mhz})
    tuning = fit_tuning(lines.assign(u_frequency_mhz=0.002))
    left = 1e3 * np.abs([f.n - t for f, t in zip(tuning.frequency(LINES_NM), mhz, strict=True)]).max()
    assert left == pytest.approx(left_khz, abs=0.5)
    assert left < 0.1 * moved.min()


def test_arguments_broadcast():
    grid = activity_shift_khz(np.array([[500.0], [600.0]]), np.array([8.0, 10.6, 14.0]), 5.0)
    assert grid.shape == (2, 3)
    assert grid[1, 1] == pytest.approx(float(activity_shift_khz(600.0, 10.6, 5.0)), rel=1e-9)
    assert rotatory_power_deg_per_mm([[500.0, 600.0]]).shape == (1, 2)


def test_beyond_the_published_indices():
    with pytest.raises(MaterialError, match=r"outside the published index fit of TeO2; found 1200 nm; allowed: 400 to"):
        rotatory_power_deg_per_mm(1200.0)


def test_too_near_to_the_axis():
    with pytest.raises(AotfLabError, match=r"found .*; allowed: a mismatch of the indices below 1e-12; ask further"):
        activity_shift_khz(450.0, 2.0, 1.0, incident="extraordinary")
