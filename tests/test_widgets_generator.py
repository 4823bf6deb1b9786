"""The generator panel: what is typed, against the voltage divider of circuit theory and the displays of the trade."""

from __future__ import annotations

import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.widgets.generator import GeneratorPanel, generator_state

STEP_V = 0.001


@pytest.fixture(scope="module")
def panel(demo):
    return GeneratorPanel(demo)


def test_the_levels_typed_make_the_volts_wanted_behind_the_divider(demo):
    """Open-circuit volts times R / (R + R0), here 1000 / 1050, must be the volts of the set-points."""
    typed = generator_state(demo, ("D", "E"), "high impedance").settings.typed["high impedance"]
    wanted = [demo.set_points()[n].drive_other_meter_v.n for n in ("D", "E")]
    for volts, port in zip((typed.high_v, typed.low_v), wanted, strict=True):
        assert volts * 1000 / 1050 == pytest.approx(port, abs=1.5 * STEP_V)


def test_a_50_ohm_display_shows_half(demo):
    """A source of 50 ohm into 50 ohm: half of the open-circuit volts."""
    high, fifty = (generator_state(demo, ("D", "E"), d).settings.typed[d] for d in ("high impedance", "50 ohm"))
    assert fifty.high_v == pytest.approx(high.high_v / 2, abs=STEP_V)
    assert fifty.amplitude_vpp == pytest.approx(high.amplitude_vpp / 2, abs=STEP_V)


def test_only_what_its_display_needs_is_typed(demo):
    state = generator_state(demo, ("D", "E"), "50 ohm")
    names = [name for name, _ in state.rows()]
    assert [n for n in names if n.startswith("TYPE")] == ["TYPE, 50 ohm display"]
    assert dict(state.rows())["TYPE, 50 ohm display"] == str(state.settings.typed["50 ohm"])
    assert any(n.startswith("wrong: ") for n in names)


def test_a_line_out_of_reach_is_said_with_the_battery_that_would_do(demo):
    """The battery: 13.80 V at the port are 13.80 x 1050 / 1000 = 14.49 V open circuit, 10 V of them are there."""
    state = generator_state(demo, ("A", "D"), "high impedance")
    assert any("FAILED reach" in r and "A needs 13.801 V" in r for r in state.remarks)
    needed = demo.set_points()["A"].drive_other_meter_v.n * 1050 / 1000 - 10
    with_battery = generator_state(demo, ("A", "D"), "high impedance", bias_v=needed + 0.1)
    assert not any("FAILED reach" in r for r in with_battery.remarks)


def test_nothing_asked_for(demo):
    with pytest.raises(AotfLabError, match="no level is asked for; found no line; allowed: one line or more"):
        generator_state(demo, (), "50 ohm")


def test_it_opens_on_the_first_play_of_levels(panel):
    assert [n for n, button in panel.use.items() if button.value] == ["D", "E"]
    assert panel.now.title == "Generator, a square wave between two levels: D, E"


def test_pressing_lines_moves_numbers_and_picture(demo):
    panel = GeneratorPanel(demo)
    before = panel.numbers.value, panel.image.value
    panel.use["C"].value = True
    assert "a waveform of 3 levels" in panel.numbers.value
    assert panel.image.value != before[1]
    panel.use["C"].value = False
    assert (panel.numbers.value, panel.image.value) == before
    panel.display.value = "50 ohm"
    assert "TYPE, 50 ohm display" in panel.numbers.value
    panel.park.value = True
    assert f"{demo.park.best.at_mhz:.2f}"[:4] in panel.numbers.value
    assert panel.problems == []


def test_with_no_line_pressed_it_says_what_to_do(demo):
    panel = GeneratorPanel(demo)
    for button in panel.use.values():
        button.value = False
    assert "press the button of a line" in panel.said.value
    assert panel.numbers.value == ""
    assert panel.image.layout.display == "none"
    panel.use["F"].value = True
    assert panel.said.value == ""
    assert panel.image.layout.display is None
