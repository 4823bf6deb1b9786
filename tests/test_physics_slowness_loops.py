"""Loops of scattered light against closed forms, and against a search by another way."""

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.elastic import ElasticConstants, elastic_constants
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.slowness import acoustic_velocities
from aotf_lab.physics.slowness_contour import zero_curves
from aotf_lab.physics.slowness_scattering import Scattering

TEO2 = elastic_constants()
POLARISATIONS = ("ordinary", "extraordinary")
GLASS = ElasticConstants(77.0, 15.0, 15.0, 77.0, 31.0, 31.0, 2200.0)


def _curves(scattering, mode, scattered):
    def off(way):
        velocity = acoustic_velocities(way, scattering.constants)[:, mode]
        return scattering.off_surface(scattering.scattered(way, velocity), scattered)

    return zero_curves(off)


def _on_screen(scattering, mode, scattered):
    curve, *_ = _curves(scattering, mode, scattered)
    velocity = acoustic_velocities(curve, scattering.constants)[:, mode]
    return np.stack(scattering.on_screen(scattering.scattered(curve, velocity)), axis=-1)


@pytest.mark.parametrize("frequency_mhz", [20.0, 60.0, 180.0])
def test_sound_of_one_velocity_scatters_into_a_circle_of_twice_the_bragg_angle(frequency_mhz):
    # ordinary to ordinary: sin(angle inside / 2) = wavelength f / (2 n v), then Snell; e.g. Yariv & Yeh, Optical Waves
    # in Crystals, Bragg condition of an isotropic medium
    velocity, n = np.sqrt(77e9 / 2200.0), float(ordinary_index(600.0))
    inside = 2 * np.arcsin(600e-9 * frequency_mhz * 1e6 / (2 * n * velocity))
    expected = 800.0 * np.tan(np.arcsin(n * np.sin(inside)))
    points = _on_screen(Scattering(GLASS, frequency_mhz, 600.0, 10.6, 800.0), 2, "ordinary")
    np.testing.assert_allclose(np.hypot(*points.T), expected, rtol=1e-9)


def _searched(x_turn_deg, setting, mode, scattered):
    """Walk along a line of the screen until the sound that is needed has the velocity of the sound that is there."""
    frequency_mhz, wavelength_nm, incidence_deg, distance_mm, tilt_deg, incident = setting
    n_o, n_e = float(ordinary_index(wavelength_nm)), float(extraordinary_index(wavelength_nm))

    def index(angle_to_axis, polarisation):
        if polarisation == "ordinary":
            return n_o
        return n_o * n_e / np.hypot(n_e * np.cos(angle_to_axis), n_o * np.sin(angle_to_axis))

    # axes: 0 along [110], 1 along [-110], 2 along [001]
    light, face = np.radians(incidence_deg), np.radians(incidence_deg + tilt_deg)
    k_i = index(light, incident) * np.array([np.sin(light), 0, np.cos(light)])
    ahead = face + np.arcsin(np.linalg.norm(k_i) * np.sin(light - face))
    d0, across = np.array([np.sin(ahead), 0, np.cos(ahead)]), np.array([np.cos(ahead), 0, -np.sin(ahead)])
    normal = np.array([np.sin(face), 0, np.cos(face)])

    def excess(radius):
        turn = np.radians(x_turn_deg)
        way = distance_mm * d0 + radius * (np.cos(turn) * across + np.sin(turn) * np.array([0, 1, 0]))
        way /= np.linalg.norm(way)
        tangent = np.cross(normal, np.cross(way, normal))
        inside = 2.3  # Snell's law for a wave normal: iterate the index of the direction that it gives
        for _ in range(14):
            k_d = tangent + np.sqrt(inside**2 - tangent @ tangent) * normal
            inside = index(np.arccos(k_d[2] / np.linalg.norm(k_d)), scattered)
        sound = k_d - k_i
        back = np.array([(sound[0] - sound[1]) / np.sqrt(2), (sound[0] + sound[1]) / np.sqrt(2), sound[2]])
        m = back / np.linalg.norm(back)
        c = TEO2
        matrix = np.array(
            [
                [c.c11_gpa * m[0] ** 2 + c.c66_gpa * m[1] ** 2, (c.c12_gpa + c.c66_gpa) * m[0] * m[1], 0],
                [0, c.c11_gpa * m[1] ** 2 + c.c66_gpa * m[0] ** 2, 0],
                [(c.c13_gpa + c.c44_gpa) * m[0] * m[2], (c.c13_gpa + c.c44_gpa) * m[1] * m[2], c.c33_gpa * m[2] ** 2],
            ]
        ) + c.c44_gpa * np.diag([m[2] ** 2, m[2] ** 2, m[0] ** 2 + m[1] ** 2])
        matrix[1, 0], matrix[0, 2], matrix[1, 2] = matrix[0, 1], matrix[2, 0], matrix[2, 1]
        squares = np.sort(np.roots(np.poly(matrix * 1e9 / c.density_kg_m3)).real)
        return np.linalg.norm(sound) * np.sqrt(squares[mode]) - frequency_mhz * wavelength_nm * 1e-3

    steps = np.linspace(0.5, 0.2 * distance_mm, 70)
    values = np.array([excess(s) for s in steps])
    first = int(np.flatnonzero(np.diff(np.sign(values)) > 0)[-1])
    radius = brentq(excess, steps[first], steps[first + 1], xtol=1e-9)
    return radius * np.array([np.cos(np.radians(x_turn_deg)), np.sin(np.radians(x_turn_deg))])


def _off_polygon(point, corners):
    start, side = corners, np.roll(corners, -1, axis=0) - corners
    share = np.clip(np.sum((point - start) * side, axis=1) / np.sum(side**2, axis=1), 0, 1)
    return np.linalg.norm(start + share[:, None] * side - point, axis=1).min()


@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 93.0, 180.0, 250.0])
@pytest.mark.parametrize(
    ("setting", "mode", "scattered"),
    [
        ((64.0, 589.0, 10.6, 1000.0, 0.0, "ordinary"), 0, "extraordinary"),
        ((64.0, 589.0, 10.6, 1000.0, 0.0, "ordinary"), 0, "ordinary"),
        ((90.0, 460.0, 8.0, 700.0, 4.0, "extraordinary"), 0, "ordinary"),
        ((90.0, 460.0, 8.0, 700.0, -4.0, "extraordinary"), 1, "extraordinary"),
        ((64.0, 589.0, 6.0, 1000.0, 0.0, "ordinary"), 2, "extraordinary"),
    ],
)
def test_loops_meet_a_search_along_lines_of_the_screen(setting, mode, scattered, turn_deg):
    frequency_mhz, wavelength_nm, incidence_deg, distance_mm, tilt_deg, incident = setting
    scattering = Scattering(TEO2, frequency_mhz, wavelength_nm, incidence_deg, distance_mm, incident, tilt_deg)
    found = _searched(turn_deg, setting, mode, scattered)
    assert abs(float(scattering.off_loop(found[0], found[1], mode, scattered))) < 1e-9
    assert _off_polygon(found, _on_screen(scattering, mode, scattered)) < 2e-3 * np.linalg.norm(found)


def test_screen_and_crystal_are_inverse():
    scattering = Scattering(TEO2, 64.0, 589.0, 10.6, 1000.0, "ordinary", 5.0)
    x, y = np.array([-60.0, 0.0, 3.0, 55.0]), np.array([10.0, 0.0, -58.0, 1.0])
    for polarisation in POLARISATIONS:
        inside = scattering.from_screen(x, y, polarisation)
        np.testing.assert_allclose(scattering.off_surface(inside, polarisation), 0.0, atol=1e-14)
        np.testing.assert_allclose(scattering.on_screen(inside), (x, y), atol=1e-9)


def test_loops_grow_with_distance_frequency_and_wavelength():
    at = _on_screen(Scattering(TEO2, 30.0, 600.0, 10.6, 1000.0), 0, "ordinary")
    further = _on_screen(Scattering(TEO2, 30.0, 600.0, 10.6, 2500.0), 0, "ordinary")
    np.testing.assert_allclose(further, 2.5 * at, rtol=1e-9, atol=1e-9)
    # light hardly turned: size goes as wavelength f / v whatever the index (both outside and inside are small angles)
    size = [np.ptp(_on_screen(Scattering(TEO2, f, nm, 10.6, 1000.0), 0, "ordinary")[:, 1]) for f, nm in
            ((30.0, 600.0), (3.0, 600.0), (3.0, 900.0))]  # fmt: skip
    assert size[0] == pytest.approx(10 * size[1], rel=3e-3)
    assert size[2] == pytest.approx(1.5 * size[1], rel=3e-3)


def test_tips_of_the_star_are_a_small_angle_of_the_slow_velocity():
    # small angles: the tip along y is wavelength f / v110 from the spot
    points = _on_screen(Scattering(TEO2, 3.0, 600.0, 10.6, 1000.0), 0, "ordinary")
    assert points[:, 1].max() == pytest.approx(1e3 * 600e-9 * 3e6 / 617.0, rel=2e-3)


def test_a_loop_may_vanish():
    # at 25 deg the surfaces are further apart than the longitudinal wave vector is long
    scattering = Scattering(TEO2, 64.0, 589.0, 25.0, 1000.0)
    assert _curves(scattering, 2, "extraordinary") == []
    assert len(_curves(scattering, 2, "ordinary")) == 1


def test_curves_on_the_sphere():
    both = zero_curves(lambda m: np.abs(m[:, 2]) - 0.6)
    assert len(both) == 2
    for curve in both:
        np.testing.assert_allclose(np.abs(curve[:, 2]), 0.6, atol=1e-12)
        length = np.linalg.norm(np.roll(curve, -1, axis=0) - curve, axis=1).sum()
        assert length == pytest.approx(2 * np.pi * 0.8, rel=1e-4)
    assert zero_curves(lambda m: m[:, 2] + 2.0) == []


@pytest.mark.parametrize(("given", "said"), [((0.0, 1000.0), "frequency"), ((64.0, -1.0), "distance to the screen")])
def test_impossible_setting(given, said):
    with pytest.raises(AotfLabError, match=rf"{said} .* of no loop; found .*; allowed: above zero; check"):
        Scattering(TEO2, given[0], 589.0, 10.6, given[1])


def test_face_that_lets_no_light_out():
    with pytest.raises(AotfLabError, match=r"tilt of the exit face .* no light leaves .*; found 40; allowed"):
        Scattering(TEO2, 64.0, 589.0, 10.6, 1000.0, "ordinary", 40.0)
