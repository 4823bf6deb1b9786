"""Angles, polarisation and beam size against published values; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit
from scipy.special import erf

from aotf_lab.crystal.angles import fit_angles
from aotf_lab.crystal.beam import fit_beam_size
from aotf_lab.crystal.polarisation import fit_polarisation
from aotf_lab.physics.beams import EDGE_PER_DIAMETER, beam_diameter, edge_share, rayleigh_range
from aotf_lab.physics.deflection import separation
from tests.house import published

FACTS = {row["fact"]: row for row in published("acousto_optics_facts.csv")}


def test_separation_of_an_isotropic_cell():
    # university optics worked example, shared/acousto_optics_facts.csv: 0.702 deg at 514.5 nm, 100 MHz, 4200 m/s
    stated = float(FACTS["separation of orders outside an isotropic cell"]["value"].split()[0])
    plain = np.degrees(separation(514.5, 100.0, 4200.0))
    bragg = np.degrees(separation(514.5, 100.0, 4200.0, 0.0, -0.351))
    assert [round(float(a), 3) for a in (plain, bragg)] == [stated, stated]


def test_velocity_back_from_the_spot_of_that_cell():
    # the same worked example turned round: its spot 2 m away says 4200 m/s
    spot = 2000.0 * np.tan(np.radians(0.702))
    rows = {"spot_mm": [spot, spot], "distance_mm": 2000.0, "frequency_mhz": 100.0, "u_spot_mm": 0.1}
    found = fit_angles(pd.DataFrame(rows), 514.5, sound_to_face_deg=0.0, parallel_faces=True)
    assert found.apparent_velocity_m_s.n == pytest.approx(4200.0, rel=1e-3)
    assert found.kind == "one colour"


def test_knife_edge_width_over_diameter():
    # Young & Yao, Proc. IEEE 69, 54 (1981) (from memory): rise time 0.6408 D / v, shared/acousto_optics_facts.csv
    stated = float(FACTS["10-90 % rise time of a Gaussian beam"]["value"].split()[0])
    assert round(EDGE_PER_DIAMETER, 4) == stated
    assert float(edge_share(stated * 0.5, 0.0, 1.0)) == pytest.approx(0.1, abs=1e-4)
    # Khosrofian & Garetz, Appl. Opt. 22, 3406 (1983) (from memory): w = 0.7803 (x90 - x10)
    assert round(0.5 / EDGE_PER_DIAMETER, 3) == 0.780


def test_diameter_is_that_of_the_second_moment():
    # ISO 11146-1 (from memory): d = 4 sigma; sigma of the profile, the derivative of the light past an edge
    x = np.linspace(-4.0, 4.0, 8001)
    profile = -np.gradient(edge_share(x, 0.1, 1.6), x)
    mean = np.sum(x * profile) / np.sum(profile)
    sigma = (np.sum((x - mean) ** 2 * profile) / np.sum(profile)) ** 0.5
    assert 4 * sigma == pytest.approx(1.6, rel=1e-5)


def test_spreading_of_a_beam():
    # Kogelnik & Li, Appl. Opt. 5, 1550 (1966) (from memory): b = 2 pi w0^2 / lambda, far angle lambda / (pi w0)
    w0_mm, nm = 0.4, 632.8
    assert 2 * float(rayleigh_range(2 * w0_mm, nm)) == pytest.approx(2 * np.pi * w0_mm**2 / (nm * 1e-6))
    angle = float(beam_diameter(2 * w0_mm, 1e6, nm)) / 2e6
    assert angle == pytest.approx(nm * 1e-6 / (np.pi * w0_mm), rel=1e-5)


def test_diameter_against_a_reference_fit():
    # scipy.optimize.curve_fit on the same readings: value and uncertainty
    rng = np.random.default_rng(4)
    x = np.arange(8.6, 11.8, 0.2)
    y = 2.0 * edge_share(x, 10.1, 1.4) + 0.01 + rng.normal(0.0, 0.01, x.size)

    def law(x, d, c, p, b):
        return b + 0.5 * p * (1 - erf(2 * 2**0.5 * (x - c) / d))

    best, covariance = curve_fit(law, x, y, (1.5, 10.0, 2.0, 0.0), np.full(x.size, 0.01), absolute_sigma=True)
    rows = {"position_mm": x, "optical_power_mw": y, "u_optical_power_mw": 0.01}
    found = fit_beam_size(pd.DataFrame(rows)).diameter_mm
    assert (found.n, found.s) == pytest.approx((best[0], covariance[0, 0] ** 0.5), rel=1e-4)


def test_law_of_malus():
    # any textbook of optics: 1, 3/4, 1/2, 1/4, 0 of the light at 0, 30, 45, 60 and 90 deg
    rows = {"analyser_deg": [0.0, 30.0, 45.0, 60.0, 90.0], "optical_power_mw": [1.0, 0.75, 0.5, 0.25, 0.0]}
    found = fit_polarisation(pd.DataFrame(rows).assign(u_optical_power_mw=1e-4, dark_power_mw=0.0))
    assert found.axis_deg.n == pytest.approx(0.0, abs=1e-6)
    assert found.power_mw.n == pytest.approx(1.0, abs=1e-8)
    assert found.share(30.0).n == pytest.approx(0.75, abs=1e-6)
    assert found.is_bound


def test_polarisation_against_a_reference_fit():
    # weighted linear least squares on mean, cos 2a, sin 2a (numpy): value and uncertainty of the axis
    rng = np.random.default_rng(5)
    a = np.arange(0.0, 180.0, 12.0)
    y = 0.1 + 2.0 * np.cos(np.radians(a - 33.0)) ** 2 + rng.normal(0.0, 0.01, a.size)
    columns = np.stack([np.ones_like(a), np.cos(np.radians(2 * a)), np.sin(np.radians(2 * a))], axis=-1)
    covariance = 1e-4 * np.linalg.inv(columns.T @ columns)
    _, c, s = covariance @ columns.T @ y * 1e4
    gradient = np.array([0.0, -s, c]) / (c**2 + s**2)
    u = 0.5 * np.degrees((gradient @ covariance @ gradient) ** 0.5)
    rows = pd.DataFrame({"analyser_deg": a, "optical_power_mw": y, "u_optical_power_mw": 0.01, "dark_power_mw": 0.0})
    found = fit_polarisation(rows).axis_deg
    assert (found.n, found.s) == pytest.approx((0.5 * np.degrees(np.arctan2(s, c)), u), rel=1e-5)
