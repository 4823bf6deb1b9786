"""The amplifier's supply of a set-point: it makes the power asked for, and never more than is safe."""

from __future__ import annotations

from dataclasses import replace

import pytest

from aotf_lab.errors import UnsafeDriveError
from aotf_lab.planning import set_points
from aotf_lab.planning.supply_point import supply_point


def at(curves, name="E", wanted_w=None):
    line = curves.scans[name]
    wavelength = curves.tuning.wavelength(line.centre_mhz)
    return supply_point(curves, wavelength, line.centre_mhz, wanted_w, name), line.centre_mhz.n


def test_the_supply_makes_the_power(demo):
    for point in demo.set_points():
        made = demo.level.rf_power(point.supply_v.n, point.frequency_mhz.n)
        assert made.n == pytest.approx(point.rf_power_w.n, rel=1e-6)
        assert point.supply_v.n <= demo.safe_supply.supply_v + 1e-9


def test_the_scale_of_power_cancels_in_the_supply(demo):
    point = set_points(demo, ["E"])["E"]
    alone = demo.level.supply(point.rf_power_w.n, point.frequency_mhz.n)
    assert point.supply_v.s < 0.3 * alone.s
    assert point.supply_v.n == pytest.approx(alone.n)


def test_a_chosen_power_is_held_at_the_safe_supply(demo):
    low = replace(demo.safe_supply, supply_v=7.0)
    curves = replace(demo.curves, safe=low)
    (power, supply), mhz = at(curves)
    assert supply.n == pytest.approx(7.0, abs=1e-6)
    assert power.rf_power_w.n == pytest.approx(demo.level.rf_power(7.0, mhz).n)
    assert f"held at {power.rf_power_w.n:.3g} W by the safe supply of 7.00 V" in power.remark
    assert power.efficiency.n < at(demo.curves)[0][0].efficiency.n


def test_a_power_that_was_asked_for_and_is_not_safe_is_refused(demo):
    curves = replace(demo.curves, safe=replace(demo.safe_supply, supply_v=7.0))
    with pytest.raises(UnsafeDriveError, match=r"supply above the safe one; found .* V; allowed: at most 7\.00 V"):
        at(curves, wanted_w=0.4)


def test_without_an_amplifier_curve_there_is_no_supply(demo):
    for curves in (replace(demo.curves, level=None), replace(demo.curves, safe=None)):
        (power, supply), _ = at(curves)
        assert supply is None
        assert power.rf_power_w.n == pytest.approx(at(demo.curves)[0][0].rf_power_w.n)


def test_a_line_outside_of_the_measured_band_gets_no_supply(demo):
    (power, supply), _ = at(demo.curves)
    (outside, none), _ = (supply_point(demo.curves, 589.12, demo.scans["E"].centre_mhz + 60.0, None, "E"), 0)
    assert supply is not None
    assert none is None
    assert outside.rf_power_w.n == pytest.approx(power.rf_power_w.n, rel=0.02)
    assert "no supply is given: frequency lies outside the measured range" in outside.remark
