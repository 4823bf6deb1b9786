"""A named cause of error is one variable in a session: what shares it is correlated, and differences know it.

u^2(a - b) = u^2(a) + u^2(b) - 2 u(a, b): JCGM 100:2008, equation (16).
"""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import covariance_matrix

from aotf_lab.planning.generator.sweep import sine_sweep


def rest_on(cause, *numbers):
    """Return which of ``numbers`` move with this very variable; another of the same name does not count."""
    return [abs(n.derivatives.get(cause, 0.0)) > 0 for n in numbers]


def test_the_bandwidth_of_the_port_is_one_cause_of_all_that_it_slows(demo):
    port = demo.port_bandwidth_khz
    edge, depth = demo.edge["E"], demo.modulation_depth["E"]
    (swept,) = [part.rate_mhz_per_us for part in demo.sweep.parts if part.name == "oscillator port"]
    sine = sine_sweep(demo, ["D", "E"], demo.generator, rate_khz=20.0)
    followed = (edge.rise_us, edge.delay_us, edge.transit_us, depth.transit_us, swept, sine.delay_us)
    assert rest_on(port, *followed) == [True] * len(followed)
    assert {v.tag for n in followed for v in n.derivatives if v.tag == port.tag and v is not port} == set()


def test_the_difference_of_edge_and_depth_leaves_out_what_both_have_of_the_port(demo):
    edge, depth = demo.edge["E"].transit_us, demo.modulation_depth["E"].transit_us
    (_, shared), _ = covariance_matrix([edge, depth])
    apart = float(np.hypot(edge.s, depth.s))
    assert shared > 0
    assert (depth - edge).s == pytest.approx((apart**2 - 2 * shared) ** 0.5, rel=1e-9)
    assert (depth - edge).s < 0.999 * apart
    (check,) = [c for c in demo.modulation_depth["E"].fit.checks if c.name == "edge and depth agree"]
    assert f"+- {(depth - edge).s:.2g} us" in check.detail


def test_the_dead_time_of_a_sequence_takes_delay_and_port_together(demo):
    port, delay = demo.port_bandwidth_khz, demo.edge["E"].delay_us
    (_, both), _ = covariance_matrix([port, delay])
    assert 0 < both / (port.s * delay.s) < 1  # a wider port takes less of the time, and leaves more to the sound
    dead = [turn.dead_us for turn in demo.plays["green to red, then dark"].turns]
    assert rest_on(port, *dead) == [True] * len(dead)


def test_one_meter_one_label_one_set_of_harmonics(demo):
    assert demo.wavelengths_nm["D"] is demo.stated_nm["D"]
    assert demo.driver_harmonics is demo.driver_harmonics
    detector = demo.facts.instruments.detector
    assert detector.known_rise_us is detector.known_rise_us
    centres = [scan.centre_mhz for scan in demo.scans.values()]
    assert all(rest_on(demo.meter_s, *centres))
