"""The tune panel: what a voltage sets, against textbook formulas; controls that follow each other; what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab.errors import OutOfRangeError, UnsafeDriveError
from aotf_lab.simulate.light import true_peak_frequency
from aotf_lab.simulate.truth import SKERRY
from aotf_lab.widgets.tune import TunePanel, tune_state

SUPPLY = 8.5


@pytest.fixture(scope="module")
def panel(demo):
    return TunePanel(demo)


def drive_of(demo, mhz):
    return float(demo.vco.drive(mhz).n)


@pytest.mark.parametrize("name", list("BDEG"))
def test_at_a_lines_peak_light_and_wavelength_are_those_of_the_bench(demo, name):
    truth = next(line for line in SKERRY.lines if line.name == name)
    state = tune_state(demo, drive_of(demo, float(true_peak_frequency(truth.wavelength_air_nm))), SUPPLY)
    assert state.nearest == name
    from_air = state.wavelength_nm.n / (1 + 2.77e-4)  # index of air within 1e-6 over the visible (Edlen 1966, memory)
    assert abs(from_air - truth.wavelength_air_nm) < 3 * state.wavelength_nm.s + 0.002


@pytest.mark.parametrize("name", list("BEG"))
def test_light_in_tune_follows_the_sine_squared_of_coupled_waves(demo, name):
    """eta = eta_max sin^2((pi/2) sqrt(P / P_sat)): Yariv and Yeh, Optical Waves in Crystals, ch. 9 (from memory)."""
    band = demo.passbands.of[name]
    state = tune_state(demo, drive_of(demo, band.peak_mhz.n), SUPPLY)
    light = next(e for e in state.light if e.line == name)
    ratio = state.rf_power_w.n / band.saturation_power_w.n
    expected = band.peak_efficiency.n * np.sin(np.pi / 2 * np.sqrt(ratio)) ** 2
    assert light.efficiency.n == pytest.approx(expected, rel=2e-3)
    assert abs(light.off_mhz) < 1e-3


def test_a_ghost_by_the_second_harmonic_is_named(demo):
    """At half of A's frequency the weak second harmonic drives A, by the same law."""
    band = demo.passbands.of["A"]
    state = tune_state(demo, drive_of(demo, band.peak_mhz.n / 2), SUPPLY)
    light = next(e for e in state.light if e.line == "A")
    share = next(h.share.n for h in demo.driver_harmonics if h.order == 2)
    ratio = share * state.rf_power_w.n / band.saturation_power_w.n
    expected = band.peak_efficiency.n * np.sin(np.pi / 2 * np.sqrt(ratio)) ** 2
    assert light.likely[1] == pytest.approx(expected, rel=5e-3)
    assert f"ghost of {expected:.2g} by 2 f" in light.words
    assert f"ghost of {expected:.2g} by 2 f" in dict(state.rows())["light of A"]


def test_beyond_the_main_lobe_only_a_bound_is_said(demo):
    state = tune_state(demo, drive_of(demo, demo.passbands.peak_mhz("B").n - 2.0), SUPPLY)
    light = next(e for e in state.light if e.line == "B")
    assert light.efficiency is None
    assert light.words.startswith("at most")
    assert light.most[0] >= light.likely[0]


def test_uncertainty_is_the_same_in_khz_mv_and_share_of_the_passband(demo):
    state = tune_state(demo, 5.0, SUPPLY)
    u = state.frequency_mhz.s
    volts = 1e-4
    slope = (demo.vco.frequency(5.0 + volts).n - demo.vco.frequency(5.0 - volts).n) / (2 * volts)
    words = dict(state.rows())["its uncertainty"]
    assert f"{1e3 * u:.2g} kHz = {1e3 * u / slope:.2g} mV" in words
    assert f"{100 * u / demo.passbands.fwhm_mhz(state.nearest).n:.2g} % of the passband" in words


def test_outside_what_was_measured(demo):
    with pytest.raises(OutOfRangeError, match="drive voltage lies outside the measured range"):
        tune_state(demo, 20.0, SUPPLY)
    with pytest.raises(UnsafeDriveError, match="a supply above the safe one"):
        tune_state(demo, 5.0, 10.5)


def test_where_the_amplifier_was_not_measured_light_is_not_said(demo):
    state = tune_state(demo, demo.vco.range_v[0], SUPPLY)
    assert state.light == ()
    assert any("no light" in r for r in state.remarks)
    assert any("no line" in r for r in state.remarks)
    assert "RF power" not in dict(state.rows())


def test_the_line_control_goes_to_its_peak(panel, demo):
    panel.line.value = "E"
    assert panel.frequency_mhz.value == pytest.approx(demo.passbands.peak_mhz("E").n, abs=1e-4)
    root = brentq(lambda v: demo.vco.frequency(v).n - panel.frequency_mhz.value, *demo.vco.range_v)
    assert panel.drive_v.value == pytest.approx(root, abs=1e-4)
    assert panel.now.nearest == "E"
    assert panel.problems == []


def test_frequency_and_voltage_follow_each_other(panel, demo):
    panel.frequency_mhz.value = 60.0
    assert demo.vco.frequency(panel.drive_v.value).n == pytest.approx(60.0, abs=5e-4)  # the box holds 0.1 mV
    assert panel.line.value == "none"
    panel.drive_v.value = 7.0
    assert panel.frequency_mhz.value == pytest.approx(demo.vco.frequency(7.0).n, abs=1e-4)
    assert "7.0000 V" in panel.numbers.value


def test_each_control_moves_numbers_and_picture(panel):
    for change in (lambda: setattr(panel.drive_v, "value", 6.2), lambda: setattr(panel.supply_v, "value", 7.7),
                   lambda: setattr(panel.line, "value", "D")):  # fmt: skip
        before = panel.numbers.value, panel.image.value
        change()
        assert panel.numbers.value != before[0]
        assert panel.image.value != before[1]


def test_at_the_end_of_the_range_the_panel_still_shows(panel):
    panel.drive_v.value = panel.drive_v.low
    assert "no light" in panel.numbers.value
    assert "no line is let through" in panel.caption.value
    assert panel.problems == []


@pytest.mark.parametrize(
    ("control", "value", "words"),
    [("drive_v", 99.0, "Drive voltage (0.4 to 13.92 V); found 99 V; allowed: 0.4 to 13.92 V"),
     ("drive_v", float("nan"), "found nan V"),
     ("frequency_mhz", 30.0, "found 30 MHz; allowed: 42.58 to 93.67 MHz"),
     ("supply_v", 12.0, "found 12 V; allowed: 4 to 9.5 V")],
)  # fmt: skip
def test_what_cannot_be_set_is_said_and_mended(demo, control, value, words):
    panel = TunePanel(demo)
    box = getattr(panel, control)
    before = box.value
    box.value = value
    assert words in panel.said.value
    assert panel.numbers.value == panel.caption.value == ""
    assert panel.problems == []
    box.value = before
    assert panel.said.value == ""
    assert panel.now is not None


def test_another_control_mends_a_voltage_that_cannot_be_set(demo):
    panel = TunePanel(demo)
    panel.drive_v.value = 99.0
    panel.frequency_mhz.value = 60.0
    assert panel.now is not None
    assert panel.drive_v.value < 14.0
