"""Edge and depth of modulation of a Gaussian beam against published figures and direct numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize

from aotf_lab.physics.beams import EDGE_PER_DIAMETER
from aotf_lab.physics.edges import (
    HALF_DEPTH_PER_TRANSIT,
    VOLTS_DOWN_PER_TRANSIT,
    beam_depth,
    edge_behind_poles,
    transit_us,
)
from tests.house import published

FACTS = {row["fact"]: row for row in published("acousto_optics_facts.csv")}
D, V = 1.6, 643.4


def beam(x_mm):
    """Intensity of a Gaussian beam at ``x_mm``: exp(-2 r^2 / w^2), w = D/2, of unit power (textbook)."""
    return (8.0 / np.pi) ** 0.5 / D * np.exp(-8.0 * x_mm**2 / D**2)


def lit(time_us):
    """Light of the part of the beam that a front of sound has passed, by quadrature."""
    front_mm = 1e-3 * V * time_us
    return integrate.quad(beam, -4 * D, front_mm, epsabs=1e-12)[0]


def test_rise_time_and_bandwidth_of_young_and_yao():
    """Young & Yao, Proc. IEEE 69, 54 (1981), from memory: shared/acousto_optics_facts.csv."""
    rise = float(FACTS["10-90 % rise time of a Gaussian beam"]["value"].split()[0])
    half = float(FACTS["optical -3 dB modulation frequency"]["value"].split()[0])
    assert pytest.approx(rise, abs=5e-5) == EDGE_PER_DIAMETER
    assert pytest.approx(half, abs=5e-5) == HALF_DEPTH_PER_TRANSIT
    assert pytest.approx(0.480, abs=5e-4) == EDGE_PER_DIAMETER * HALF_DEPTH_PER_TRANSIT


def test_edge_by_direct_integration_over_the_beam():
    transit = float(transit_us(D, V))
    for t in (-2.0, -0.8, 0.0, 0.3, 1.5):
        assert float(edge_behind_poles(t, transit / 4)) == pytest.approx(lit(t), abs=1e-10)
    t10, t90 = (optimize.brentq(lambda t, s=s: lit(t) - s, -3, 3) for s in (0.1, 0.9))
    assert (t90 - t10) / transit == pytest.approx(
        float(FACTS["10-90 % rise time of a Gaussian beam"]["value"][:6]), abs=5e-5
    )


def depth_by_integration(f_khz):
    """Most less least light over the sum, of sound modulated fully at ``f_khz``, integrated over the beam."""
    per_mm = 2 * np.pi * f_khz / V  # kHz over m/s is 1/mm

    def light(phase):
        return integrate.quad(lambda x: beam(x) * 0.5 * (1 + np.cos(per_mm * x - phase)), -4 * D, 4 * D, limit=200)[0]

    return (light(0.0) - light(np.pi)) / (light(0.0) + light(np.pi))


def test_depth_by_direct_integration_over_the_beam():
    transit = float(transit_us(D, V))
    for f in (50.0, 200.0, 301.4, 500.0):
        assert float(beam_depth(f, transit)) == pytest.approx(depth_by_integration(f), abs=1e-9)
    half = optimize.brentq(lambda f: depth_by_integration(f) - 0.5, 100.0, 900.0)
    stated = float(FACTS["optical -3 dB modulation frequency"]["value"].split()[0])
    assert half * 1e-3 * transit == pytest.approx(stated, abs=5e-5)
    down = optimize.brentq(lambda f: depth_by_integration(f) - 2**-0.5, 100.0, 900.0)
    assert down * 1e-3 * transit == pytest.approx(VOLTS_DOWN_PER_TRANSIT, abs=5e-6)
