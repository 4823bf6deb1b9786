"""The Christoffel equation against other ways to solve it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from aotf_lab.errors import AotfLabError, MaterialError
from aotf_lab.physics.elastic import ElasticConstants, elastic_constants
from aotf_lab.physics.slowness import (
    acoustic_velocities,
    acoustic_waves,
    cut_plane_directions,
    energy_angle_deg,
    plane_directions,
)

TEO2 = elastic_constants()
VOIGT = ((0, 5, 4), (5, 1, 3), (4, 3, 2))
components = st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda m: np.linalg.norm(m) > 0.1)


def _full_tensor(c):
    """c_ijkl (Pa) written out from the 6 x 6 table of class 422."""
    table = np.zeros((6, 6))
    table[:3, :3] = c.c13_gpa
    table[:2, :2] = c.c12_gpa
    table[0, 0] = table[1, 1] = c.c11_gpa
    table[2, 2] = c.c33_gpa
    table[3, 3] = table[4, 4] = c.c44_gpa
    table[5, 5] = c.c66_gpa
    index = np.array(VOIGT)
    return 1e9 * table[index[:, :, None, None], index[None, None, :, :]]


@settings(max_examples=60, deadline=None)
@given(direction=components, turn=components)
def test_velocities_are_the_same_in_any_axes(direction, turn):
    rotation = Rotation.from_rotvec(np.array(turn) * 3.0).as_matrix()
    tensor = np.einsum("ai,bj,ck,dl,ijkl->abcd", *[rotation] * 4, _full_tensor(TEO2))
    way = rotation @ (np.array(direction) / np.linalg.norm(direction))
    matrix = np.einsum("ijkl,j,l->ik", tensor, way, way) / TEO2.density_kg_m3
    expected = np.sort(np.sqrt(np.linalg.eigvals(matrix).real))
    np.testing.assert_allclose(acoustic_velocities(direction), expected, rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(direction=components)
def test_group_velocity_is_the_flow_of_energy(direction):
    # power flow over energy density: c_ijkl u_j m_k u_l / (rho v)
    waves = acoustic_waves(direction)
    shape = waves.polarisation
    expected = np.einsum("ijkl,mj,k,ml->mi", _full_tensor(TEO2), shape, waves.directions, shape)
    expected /= TEO2.density_kg_m3 * waves.velocity_m_s[:, None]
    np.testing.assert_allclose(waves.group_m_s, expected, rtol=1e-9, atol=1e-6)


@pytest.mark.parametrize("direction", [[1, 1, 0.1], [0.3, 0.8, 0.2], [1, 0.9, 0.4], [0.2, 0.1, 0.9]])
def test_group_velocity_is_the_gradient_of_the_frequency(direction):
    # omega(K) = |K| v(K/|K|); group velocity = d omega / d K, by central differences
    step, way = 1e-5, np.array(direction, dtype=float) / np.linalg.norm(direction)

    def omega(k):
        return np.linalg.norm(k) * acoustic_velocities(k)

    numerical = np.stack([(omega(way + e) - omega(way - e)) / (2 * step) for e in step * np.eye(3)], axis=-1)
    np.testing.assert_allclose(acoustic_waves(direction).group_m_s, numerical, rtol=0, atol=1e-4 * 4500)


def test_closed_forms_along_the_axes():
    c, rho = TEO2, TEO2.density_kg_m3 / 1e9
    np.testing.assert_allclose(
        acoustic_velocities([1, 0, 0]), np.sort(np.sqrt(np.array([c.c11_gpa, c.c44_gpa, c.c66_gpa]) / rho)), rtol=1e-12
    )
    sum_of = c.c11_gpa + c.c12_gpa + 2 * c.c66_gpa
    expected = np.sqrt(np.array([(c.c11_gpa - c.c12_gpa) / 2, c.c44_gpa, sum_of / 2]) / rho)
    np.testing.assert_allclose(acoustic_velocities([1, 1, 0]), expected, rtol=1e-12)


def test_closed_form_in_the_plane_across_the_axis():
    # in (001), angle p from [100]: 2 rho v^2 = c11 + c66 -+ sqrt((c11 - c66)^2 cos^2 2p + (c12 + c66)^2 sin^2 2p)
    p = np.radians(np.linspace(25.0, 65.0, 41))
    root = np.hypot((TEO2.c11_gpa - TEO2.c66_gpa) * np.cos(2 * p), (TEO2.c12_gpa + TEO2.c66_gpa) * np.sin(2 * p))
    slow = np.sqrt(1e9 * (TEO2.c11_gpa + TEO2.c66_gpa - root) / 2 / TEO2.density_kg_m3)
    found = acoustic_velocities(np.stack([np.cos(p), np.sin(p), 0 * p], axis=-1))
    np.testing.assert_allclose(found.min(axis=-1), np.minimum(slow, 2104.0), rtol=1e-10)


def test_energy_follows_the_ellipse_of_the_cut_plane():
    angles = np.array([-20.0, -5.3, 0.0, 1.0, 5.3, 40.0])
    expected = np.degrees(np.arctan((2104 / 617) ** 2 * np.tan(np.radians(angles))))
    np.testing.assert_allclose(energy_angle_deg(angles), expected, rtol=1e-9, atol=1e-9)
    walk_off = acoustic_waves(cut_plane_directions(angles)).walk_off_deg[:, 0]
    np.testing.assert_allclose(walk_off, np.abs(expected - angles), rtol=1e-6, atol=1e-5)


def test_isotropic_solid_has_two_velocities_and_no_walk_off():
    glass = ElasticConstants(77.0, 15.0, 15.0, 77.0, 31.0, 31.0, 2200.0)
    waves = acoustic_waves(np.random.default_rng(3).normal(size=(50, 3)), glass)
    np.testing.assert_allclose(waves.velocity_m_s[:, :2], np.sqrt(31e9 / 2200), rtol=1e-10)
    np.testing.assert_allclose(waves.velocity_m_s[:, 2], np.sqrt(77e9 / 2200), rtol=1e-10)
    assert waves.walk_off_deg[:, 2].max() < 1e-5


def test_slowness_points_along_the_direction():
    waves = acoustic_waves(np.ones((2, 5, 3)))
    assert waves.slowness_s_km.shape == (2, 5, 3, 3)
    np.testing.assert_allclose(np.linalg.norm(waves.slowness_s_km, axis=-1) * waves.velocity_m_s, 1e3)


def test_any_plane_may_be_asked_for():
    way = plane_directions(np.linspace(0, 360, 9), [1, 0, 0], [1, 1, 1])
    np.testing.assert_allclose(np.linalg.norm(way, axis=-1), 1.0)
    np.testing.assert_allclose(way @ np.array([0.0, 1.0, -1.0]), 0.0, atol=1e-15)


@pytest.mark.parametrize("direction", [[0.0, 0.0, 0.0], [1.0, np.nan, 0.0]])
def test_no_direction(direction):
    with pytest.raises(AotfLabError, match=r"direction without length; found \[.*0.0\]; allowed: a finite vector"):
        acoustic_velocities(direction)


def test_two_components_are_no_direction():
    with pytest.raises(AotfLabError, match=r"direction that is no vector; found shape \(2,\); allowed: \(\.\.\., 3\)"):
        acoustic_waves([1.0, 0.0])


def test_parallel_directions_span_no_plane():
    with pytest.raises(AotfLabError, match=r"direction without length; found \[0.0, 0.0, 0.0\]"):
        plane_directions(10.0, [1, 1, 0], [2, 2, 0])


def test_unstable_constants():
    with pytest.raises(AotfLabError, match=r"no stable tetragonal crystal; found ElasticConstants.*; allowed: c11 >"):
        ElasticConstants(50.0, 51.2, 21.8, 105.8, 26.5, 65.9, 5990.0)


def test_crystal_without_constants():
    with pytest.raises(MaterialError, match=r"no packaged elastic constants .*; found 'quartz'; allowed: TeO2; build"):
        elastic_constants("quartz")
