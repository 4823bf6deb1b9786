"""Gaussian beams against numerical integration and limits."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.beams import beam_diameter, edge_share, rayleigh_range


@pytest.mark.parametrize("edge_mm", [-0.9, -0.1, 0.0, 0.35, 1.2])
def test_the_share_past_an_edge_is_the_integral_of_the_profile(edge_mm):
    radius = 0.8  # 1/e^2 of the intensity exp(-2 x^2 / w^2)
    profile = quad(lambda x: np.exp(-2 * x**2 / radius**2), edge_mm, 8.0)[0]
    whole = quad(lambda x: np.exp(-2 * x**2 / radius**2), -8.0, 8.0, points=[0.0])[0]
    assert float(edge_share(edge_mm, 0.0, 2 * radius)) == pytest.approx(profile / whole, abs=1e-9)


def test_a_negative_diameter_turns_the_edge_round():
    assert float(edge_share(0.3, 0.0, -1.6)) == pytest.approx(1.0 - float(edge_share(0.3, 0.0, 1.6)))


def test_spreading_starts_flat_and_ends_straight():
    z_r = float(rayleigh_range(1.0, 600.0))
    assert float(beam_diameter(1.0, z_r, 600.0)) == pytest.approx(2**0.5)
    far = float(beam_diameter(1.0, 100 * z_r, 600.0))
    assert far == pytest.approx(100.0, rel=1e-4)


def test_no_beam_without_a_width():
    with pytest.raises(AotfLabError, match=r"diameter \(mm\) of a beam; found 0;"):
        rayleigh_range(0.0, 589.0)
