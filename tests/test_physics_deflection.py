"""Angles of the orders against an independent evaluation, and errors."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.deflection import exit_angles, separation
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import phase_matched_frequency

CUT = (10.6, 5.3, 643.4)
COLOURS_NM = np.linspace(450.0, 671.0, 12)


def ray_outside(wavelength_nm: float, angle_rad: float, index: float, normal_rad: float) -> float:
    """Return the angle outside from the normal by Snell's law of vectors, n (k x N) conserved: textbook optics."""
    k = index * np.array([np.sin(angle_rad), 0.0, np.cos(angle_rad)])
    n = np.array([np.sin(normal_rad), 0.0, np.cos(normal_rad)])
    return float(np.arcsin(np.cross(n, k)[1]))


@pytest.mark.parametrize("wedge_deg", [0.0, 3.9, -4.0])
@pytest.mark.parametrize("wavelength_nm", [450.0, 589.12, 671.0])
@pytest.mark.parametrize("incident", ["ordinary", "extraordinary"])
def test_exit_angles_agree_with_the_diffracted_ray_found_on_its_index_surface(wavelength_nm, wedge_deg, incident):
    # the diffracted ray is looked for on its own index surface, where k_d - k_i is parallel to the sound: independent
    # of the sound's length, which the code takes from f and v
    f = float(phase_matched_frequency(wavelength_nm, *CUT, incident=incident))
    n_o, n_e = float(ordinary_index(wavelength_nm)), float(extraordinary_index(wavelength_nm))

    def ellipse(angle: float) -> float:
        return float(1.0 / np.hypot(np.cos(angle) / n_o, np.sin(angle) / n_e))

    light, sound = np.radians(CUT[0]), np.radians(CUT[1])
    first, second = (n_o, ellipse) if incident == "ordinary" else (ellipse(light), lambda _: n_o)
    start = first * np.array([np.sin(light), np.cos(light)])

    def miss(angle: float) -> float:
        k = second(angle) * np.array([np.sin(angle), np.cos(angle)]) - start
        return abs(k[0] * np.sin(sound) + k[1] * np.cos(sound))

    sides = (light + 1e-3, light + 0.2) if incident == "ordinary" else (light - 0.1, light - 1e-3)
    found = minimize_scalar(miss, bounds=sides, method="bounded", options={"xatol": 1e-13})
    normal = light + np.radians(wedge_deg)
    expected = [
        ray_outside(wavelength_nm, light, first, normal), ray_outside(wavelength_nm, found.x, second(found.x), normal),
    ]  # fmt: skip
    got = exit_angles(wavelength_nm, f, *CUT, wedge_deg, incident=incident)
    assert [float(a) for a in got] == pytest.approx(expected, abs=2e-7)


def test_parallel_faces_give_wavelength_frequency_over_velocity_whatever_the_indices():
    f = phase_matched_frequency(COLOURS_NM, *CUT)
    zero, out = exit_angles(COLOURS_NM, f, *CUT)
    assert np.allclose(out - zero, separation(COLOURS_NM, f, CUT[2], CUT[0] - CUT[1]), rtol=1e-12)


def test_a_wedge_brings_all_colours_together_and_not_their_own_separations():
    f = phase_matched_frequency(COLOURS_NM, *CUT)
    best = minimize_scalar(
        lambda w: np.ptp(exit_angles(COLOURS_NM, f, *CUT, w)[1]), bounds=(-15, 15), method="bounded"
    ).x
    zero, out = exit_angles(COLOURS_NM, f, *CUT, best)
    assert best == pytest.approx(3.87, abs=0.02)
    assert np.ptp(out) < 1e-4
    assert np.ptp(out - zero) / np.mean(out - zero) > 0.1


def test_wedges_up_to_five_degrees_move_an_apparent_velocity_by_three_per_cent_at_the_most():
    # what U_FACES of the fit rests on
    f = phase_matched_frequency(COLOURS_NM, *CUT)
    product = COLOURS_NM * f * 1e-3
    ratios = []
    for wedge in np.linspace(-5, 5, 11):
        zero, out = exit_angles(COLOURS_NM, f, *CUT, wedge)
        apparent = product / np.sin(out - zero) * np.cos(np.radians(CUT[0] - CUT[1]))
        ratios.append(float(np.mean(apparent)) / CUT[2])
    assert max(abs(r - 1.0) for r in ratios) < 0.033
    assert float(np.std(ratios)) < 0.015


def test_a_grating_too_fine_is_refused():
    with pytest.raises(AotfLabError, match=r"sine of the angle at which an order would leave.*found 1.05769"):
        separation(550.0, 1250.0, 650.0)
