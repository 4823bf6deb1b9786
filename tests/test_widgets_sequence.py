"""The sequence preview: its times against the single pole of the port and the dwells asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.widgets.sequence_preview import SequencePanel, sequence_state


@pytest.fixture(scope="module")
def two(demo):
    return sequence_state(demo, {"D": 50.0, "E": 80.0}).played


def test_each_line_has_the_good_light_that_was_asked_for(two):
    good = {t.name: t.good_to_us - t.good_from_us for t in two.turns}
    assert good == pytest.approx({"D": 50.0, "E": 80.0})


def test_the_dead_time_holds_delay_and_the_pole_of_the_port(demo, two):
    """A single pole comes within x of its step after tau ln(1 / x), tau = 1 / (2 pi 180 kHz) (circuit theory)."""
    tau = 1e3 / (2 * np.pi * 180.0)
    turn = two["E"]
    step_mhz = abs(two["D"].place.frequency_mhz.n - turn.place.frequency_mhz.n)
    near_mhz = 0.14 * demo.passbands.fwhm_mhz("E").n  # 5 % of the light is lost at 0.141 of the width
    settled = tau * np.log(step_mhz / near_mhz)
    dead = turn.dead_us.n if hasattr(turn.dead_us, "n") else turn.dead_us
    delay = demo.one_edge.delay_us.n
    assert delay + settled < dead < delay + settled + 2 * demo.one_edge.rise_us.n


def test_a_step_of_no_dwell_is_left_out(demo):
    assert set(sequence_state(demo, {"D": 50.0, "E": 80.0, "F": 0.0}).played.order) == {"D", "E"}
    with pytest.raises(AotfLabError, match="a sequence without a change; found E"):
        sequence_state(demo, {"D": 0.0, "E": 80.0})


def test_the_same_light_of_each_line_shares_the_same_time(demo):
    alike = sequence_state(demo, {"D": 60.0, "E": 60.0}, equal_light=True).played
    energy = [t.energy.n for t in alike.turns]
    assert energy[0] == pytest.approx(energy[1], rel=1e-3)
    assert sum(t.good_to_us - t.good_from_us for t in alike.turns) == pytest.approx(120.0, rel=1e-6)


def test_it_opens_on_the_first_play_with_dwells(demo):
    panel = SequencePanel(demo)
    assert {n: b.value for n, b in panel.dwell_us.items() if b.value} == {
        "D": 120.0, "E": 60.0, "F": 60.0, "G": 120.0, "park": 40.0,
    }  # fmt: skip
    assert set(panel.now.played.order) == {"D", "E", "F", "G", "park"}


def test_without_a_play_it_opens_on_lines_that_can_be_set(demo):
    panel = SequencePanel(replace(demo, facts=replace(demo.facts, plays=())))
    assert {n for n, b in panel.dwell_us.items() if b.value} == {"C", "D"}  # A and B are beyond the generator
    assert panel.now is not None


def test_each_control_moves_numbers_and_picture(demo):
    panel = SequencePanel(demo)
    for n in ("F", "park"):
        panel.dwell_us[n].value = 0.0
    for control, value in ((panel.dwell_us["D"], 90.0), (panel.order, "as listed"), (panel.kick_us, 1.2),
                           (panel.good_percent, 99.0), (panel.equal_light, True)):  # fmt: skip
        before = panel.numbers.value
        control.value = value
        assert panel.numbers.value != before, control.description
        assert panel.image.value
    assert "fast steps arrive" in panel.numbers.value
    panel.kick_us.value = 0.3  # drives so far beyond the aim that the generator does not give it
    assert panel.now is None
    assert "V" in panel.said.value
    assert panel.problems == []


def test_a_sequence_without_a_change_is_refused_in_words(demo):
    panel = SequencePanel(demo)
    for n in ("D", "F", "G", "park"):
        panel.dwell_us[n].value = 0.0
    assert "a sequence without a change" in panel.said.value
    assert panel.numbers.value == ""
    panel.dwell_us["park"].value = 30.0
    assert panel.said.value == ""
    assert panel.problems == []


def test_what_was_followed_before_gives_the_same_answer(demo):
    dwells = {"D": 50.0, "E": 80.0, "G": 60.0}
    fresh = sequence_state(demo, dwells, kick_us=1.2).played
    for earlier in ({"D": 50.0, "F": 80.0}, {"D": 10.0, "E": 10.0, "F": 10.0, "G": 10.0}):
        like = sequence_state(demo, earlier).played
        again = sequence_state(demo, dwells, kick_us=1.2, like=like).played
        assert again.scene is like.scene
        assert again.order == fresh.order
        assert again.cycle_us == fresh.cycle_us
        assert [(t.command_us, t.good_from_us, t.good_to_us) for t in again.turns] == [
            (t.command_us, t.good_from_us, t.good_to_us) for t in fresh.turns
        ]
        assert [t.place.step.dwell_us for t in again.turns] == [dwells[t.name] for t in again.turns]
        assert [str(t.hop.end.step) for t in again.turns] == [str(t.place.step) for t in again.turns]


def test_nothing_is_remembered_of_another_bench(demo):
    """More light to wait for takes longer, whatever was followed before."""
    like = sequence_state(demo, {"D": 50.0, "E": 80.0}).played
    strict = sequence_state(demo, {"D": 50.0, "E": 80.0}, good_share=0.99, like=like).played
    assert strict.scene is not like.scene
    assert strict["E"].dead_us.n > like["E"].dead_us.n


def test_no_more_is_remembered_than_fits(two):
    scene = replace(two.scene)
    made = []
    for k in (*range(300), 299, 0):
        scene.once((k,), lambda k=k: made.append(k))
    assert made == [*range(300), 0]  # the last is still known, the first no more
