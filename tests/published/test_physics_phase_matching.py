"""Exact phase matching against Maxwell's equations in three dimensions, and against published filters."""

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab.physics.indices import birefringence, extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import (
    parallel_tangent_acoustic_angle,
    parallel_tangent_frequency,
    phase_matched_frequency,
)
from aotf_lab.physics.slowness import acoustic_velocities

POLARISATIONS = ("ordinary", "extraordinary")
RHO = np.array([1.0, 1.0, 0.0]) / np.sqrt(2.0)
AXIS = np.array([0.0, 0.0, 1.0])


def _index(way, wavelength_nm, polarisation):
    """Index of a plane wave along ``way``: 1/n^2 are the eigenvalues of the inverse dielectric tensor across the way.

    Born & Wolf, Principles of Optics, index ellipsoid; which wave is which is told by its displacement along the axis.
    """
    n_o, n_e = float(ordinary_index(wavelength_nm)), float(extraordinary_index(wavelength_nm))
    unit = way / np.linalg.norm(way)
    across = np.linalg.svd(unit[None])[2][1:]
    squares, parts = np.linalg.eigh(across @ np.diag([n_o**-2.0, n_o**-2.0, n_e**-2.0]) @ across.T)
    along_axis = np.abs(parts.T @ across @ AXIS)
    wave = int(np.argmin(along_axis) if polarisation == "ordinary" else np.argmax(along_axis))
    return squares[wave] ** -0.5


def _by_vectors_mhz(wavelength_nm, incidence_deg, acoustic_angle_deg, incident):
    """Join the wave vectors k_i and k_d by the sound's, in 1/m, and find the frequency at which k_d is a wave."""
    light, sound = np.radians(incidence_deg), np.radians(acoustic_angle_deg)
    way, sound_way = np.sin(light) * RHO + np.cos(light) * AXIS, np.cos(sound) * RHO - np.sin(sound) * AXIS
    if incident == "extraordinary":
        sound_way = -sound_way
    other = POLARISATIONS[1 - POLARISATIONS.index(incident)]
    free = 2 * np.pi / (wavelength_nm * 1e-9)
    k_i, slow = free * _index(way, wavelength_nm, incident) * way, float(acoustic_velocities(sound_way)[0])

    def mismatch(frequency_mhz):
        k_d = k_i + 2 * np.pi * frequency_mhz * 1e6 / slow * sound_way
        return np.linalg.norm(k_d) / free - _index(k_d, wavelength_nm, other)

    steps = np.linspace(0.3, 420.0, 241)
    values = np.array([mismatch(s) for s in steps])
    first = int(np.flatnonzero(np.diff(np.sign(values)))[0])
    return brentq(mismatch, steps[first], steps[first + 1], xtol=1e-9)


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("incidence_deg", [5.0, 10.6, 20.0, 35.0])
@pytest.mark.parametrize("share_of_cut", [0.7, 1.0])
def test_frequency_meets_vectors_and_maxwell_within_a_kilohertz(incidence_deg, share_of_cut, incident):
    # shared with the law of cosines are the two principal indices alone; the velocity is the Christoffel equation's
    for wavelength_nm in (400.0, 589.0, 1000.0):
        cut = float(parallel_tangent_acoustic_angle(589.0, incidence_deg, incident=incident)) * share_of_cut
        found = float(phase_matched_frequency(wavelength_nm, incidence_deg, cut, incident=incident))
        assert abs(found - _by_vectors_mhz(wavelength_nm, incidence_deg, cut, incident)) < 1e-3


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("material", ["quartz", "LiNbO3 congruent"])
def test_collinear_filter(material, incident):
    # f = v |n_e - n_o| / wavelength with light and sound across the axis:
    # S. E. Harris & R. W. Wallace, J. Opt. Soc. Am. 59, 744 (1969), from memory
    nm = np.array([450.0, 600.0, 900.0])
    expected = 5000.0 * np.abs(birefringence(nm, material)) / nm * 1e3
    found = phase_matched_frequency(nm, 90.0, 0.0, 5000.0, material, incident=incident)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_first_collinear_filter():
    # LiNbO3, 700 to 550 nm for 750 to 1050 MHz: S. E. Harris, S. T. K. Nieh & D. K. Winslow, Appl. Phys. Lett. 15, 325
    # (1969), all from memory. The velocity cancels in the ratio; the crystal of 1969 need not have been congruent.
    red, green = phase_matched_frequency([700.0, 550.0], 90.0, 0.0, 4000.0, "LiNbO3 congruent")
    assert float(green / red) == pytest.approx(1050.0 / 750.0, rel=0.03)


def test_parallel_tangents_are_where_both_normals_are_parallel():
    # Chang 1974, Yano & Watanabe 1976 (both from memory): the energy of both light waves goes the same way, along the
    # gradient of the index surface; here by differences of Maxwell's indices.
    nm, incidence = 589.0, 10.6
    cut = np.radians(float(parallel_tangent_acoustic_angle(nm, incidence)))
    light = np.radians(incidence)
    way = np.sin(light) * RHO + np.cos(light) * AXIS
    k_i = _index(way, nm, "ordinary") * way
    grating = float(parallel_tangent_frequency(nm, incidence, nm, 1.0)) * nm * 1e-3
    k_d = k_i + grating * (np.cos(cut) * RHO - np.sin(cut) * AXIS)

    def energy(k, polarisation):
        def off(vector):
            return np.linalg.norm(vector) - _index(vector, nm, polarisation)

        slope = np.array([off(k + e) - off(k - e) for e in 1e-5 * np.stack([RHO, AXIS])])
        return np.degrees(np.arctan2(*slope))

    assert energy(k_i, "ordinary") == pytest.approx(incidence, abs=1e-4)
    assert energy(k_d, "extraordinary") == pytest.approx(energy(k_i, "ordinary"), abs=1e-3)
