"""A fault tree from kept calibrations of the demo bench."""

from __future__ import annotations

import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.record.fault_tree import half_the_light, line_numbers
from aotf_lab.session.keep import records_of


@pytest.fixture(scope="module")
def kept(demo):
    return records_of(demo, measured="2031-03-02")


def test_what_the_calibrations_know_of_a_line(kept):
    oscillator, crystal = kept
    found = line_numbers(crystal, oscillator, line="D")
    assert found["peak_mhz"].n == pytest.approx(crystal.peak("D").n)
    assert found["frequency_mhz"].n == pytest.approx(crystal.peak("D").n, abs=1e-6)
    assert found["light_mw"].n == pytest.approx(crystal.number("signal_mw", "D").n)
    assert found["rf_power_w"].n == pytest.approx(found["drive_ratio"].n * crystal.saturation_w("D").n)
    assert found["mhz_per_k"].n == pytest.approx(-0.046, abs=0.01)  # the bench's truth
    assert {"box_c", "crystal_c", "supply_v", "fwhm_mhz", "mhz_per_supply_v"} <= set(found)


def test_a_voltage_off_the_peak_has_less_light(kept):
    oscillator, crystal = kept
    at = oscillator.drive(crystal.peak("D").n + 0.06).n
    found = line_numbers(crystal, oscillator, line="D", drive_v=at)
    lost = float(light_lost(0.06 / crystal.fwhm_mhz("D").n))
    assert found["light_mw"].n == pytest.approx((1 - lost) * crystal.number("signal_mw", "D").n, rel=0.005)


def test_an_oscillator_that_moved_is_told_from_a_laser(kept):
    oscillator, crystal = kept
    then = line_numbers(crystal, oscillator, line="D", also={"incident_mw": ufloat(1.9, 0.02)})
    light, frequency = then["light_mw"].n, then["frequency_mhz"].n
    moved = {"light_mw": ufloat(0.58 * light, 0.01), "frequency_mhz": ufloat(frequency + 0.115, 0.005)}
    calm = {"box_c": ufloat(then["box_c"].n, 0.1), "supply_v": ufloat(15.0, 0.01)}
    assert half_the_light(then, moved | calm).first.cause.key == "oscillator"
    weak = {"light_mw": ufloat(0.58 * light, 0.01), "frequency_mhz": ufloat(frequency, 0.005)}
    weak |= {"incident_mw": ufloat(1.1, 0.01), "light_other_head_mw": ufloat(0.58 * light, 0.01)}
    assert half_the_light(then, weak | calm).first.cause.key == "laser"


def test_without_an_oscillator_its_causes_are_left_out(kept):
    found = line_numbers(kept[1], line="D")
    assert "frequency_mhz" not in found
    tree = half_the_light(found, {"light_mw": ufloat(0.4, 0.01)})
    assert tree.left_out["box"] == "mhz_per_k"


def test_a_line_without_a_peak(kept):
    with pytest.raises(AotfLabError, match="no peak of this line in the calibration; found 'Z'"):
        line_numbers(kept[1], line="Z")
