"""Edges and depths: limits, poles against convolution, errors."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.edges import (
    beam_depth,
    depth_frequency_khz,
    edge_behind_poles,
    local_light,
    pole_of_rise_us,
    rise_behind_pole,
    transit_us,
)


@pytest.mark.parametrize("poles", [(0.3,), (1.5,), (0.3, 0.9), (0.5, 0.5), (0.2, 0.2, 0.2), (1e-3,)])
def test_poles_against_a_filter_run_over_the_edge(poles):
    """Each pole as a recursive filter, held for a ramp between samples (first-order hold), over a fine grid."""
    step, t = 1e-3, np.arange(-8.0, 16.0, 1e-3)
    course = edge_behind_poles(t, 1.0)
    for tau in poles:
        k = np.exp(-step / tau)
        b1 = 1.0 - tau / step * (1.0 - k)
        b0 = tau / step * (1.0 - k) - k
        course = signal.lfilter([b1, b0], [1.0, -k], course)
    np.testing.assert_allclose(edge_behind_poles(t, 1.0, poles), course, atol=2e-6)


def test_a_fast_pole_only_shifts():
    t = np.linspace(-3, 3, 61)
    np.testing.assert_allclose(edge_behind_poles(t, 1.0, (9e-5,)), edge_behind_poles(t - 9e-5, 1.0), atol=1e-8)
    np.testing.assert_allclose(edge_behind_poles(t, 1.0, (1.1e-4,)), edge_behind_poles(t - 1.1e-4, 1.0), atol=1e-8)


def test_quadrature_of_rise_times_is_short_by_up_to_some_percent():
    shares = []
    for ratio in (0.25, 0.5, 1.0, 2.0):
        exact = rise_behind_pole(1.0, (pole_of_rise_us(ratio),))
        shares.append(np.hypot(1.0, ratio) / exact)
    assert all(0.96 < s < 1.0 for s in shares)
    assert min(shares) < 0.985


def test_the_variances_do_add():
    t = np.linspace(-10, 60, 70001)
    density = np.gradient(edge_behind_poles(t, 1.0, (0.7, 2.0)), t)
    mean = np.trapezoid(t * density, t)
    assert mean == pytest.approx(2.7, abs=1e-4)
    assert np.trapezoid((t - mean) ** 2 * density, t) == pytest.approx(1.0 + 0.49 + 4.0, abs=1e-3)


def test_depth_and_frequency_are_inverse():
    depths = np.array([0.9, 0.5, 0.1])
    np.testing.assert_allclose(beam_depth(depth_frequency_khz(depths, 2.487), 2.487), depths, rtol=1e-12)


def test_slow_drive_looks_faster_in_strong_light():
    share = np.linspace(0.0, 1.0, 11)
    np.testing.assert_allclose(local_light(share, 1e-4), share, atol=1e-4)
    assert np.all(local_light(share[1:-1], 1.0) > share[1:-1])


def test_a_depth_above_one():
    with pytest.raises(AotfLabError, match=r"depth of modulation; found 1\.2"):
        depth_frequency_khz(1.2, 1.0)


def test_a_beam_of_no_width():
    with pytest.raises(AotfLabError, match=r"diameter .mm. of a beam; found 0"):
        transit_us(0.0, 643.4)


def test_sound_that_stands():
    with pytest.raises(AotfLabError, match=r"velocity .m/s. of sound; found -1"):
        transit_us(1.6, -1.0)
