"""What the demo session says of time and the generator, against the truth of the bench; what is missing, said."""

from __future__ import annotations

import re

import pytest
from uncertainties import nominal_value

from aotf_lab.errors import AotfLabError, SessionError
from aotf_lab.physics.edges import transit_us
from aotf_lab.planning.generator import GeneratorSettings
from aotf_lab.planning.generator.sweep import SineSweep
from aotf_lab.planning.sequence import Sequence
from aotf_lab.reading.session_play import Play
from aotf_lab.report import report_html
from aotf_lab.report.content_pace import advice, generator_notes, pace_rows, typed_rows
from aotf_lab.report.content_plays import play_texts
from aotf_lab.report.driver_parts import nothing_computed
from aotf_lab.report.figures_pace import pace_figures
from aotf_lab.report.pace_parts import pace_checks, pace_of
from aotf_lab.simulate import SKERRY, oscillator_frequency
from aotf_lab.simulate.edge import SKERRY_EDGE
from tests.conftest import flat
from tests.test_session import copy_of_demo

TRANSIT_US = float(transit_us(SKERRY_EDGE.beam_diameter_mm, SKERRY.crystal.velocity_m_s))


def edited(tmp_path, old, new):
    return copy_of_demo(tmp_path, edit=lambda text: text.replace(old, new))


def test_edge_and_depth_find_the_beam_of_the_bench(demo):
    edge, depth = demo.edge["E"], demo.modulation_depth["E"]
    assert abs(edge.transit_us.n - TRANSIT_US) < 3 * edge.transit_us.s
    assert abs(depth.transit_us.n - TRANSIT_US) < 3 * depth.transit_us.s
    way = 1e3 * SKERRY_EDGE.transducer_to_beam_mm / SKERRY.crystal.velocity_m_s
    assert abs(edge.delay_us.n - way) < 3 * edge.delay_us.s


def test_sweep_is_limited_by_the_beam(demo):
    assert demo.sweep.limited_by == "beam"
    assert demo.sweep.span_mhz == pytest.approx(93.2 - 54.8, abs=0.1)


def test_what_is_typed_makes_the_line_by_circuit_theory(demo):
    """A divider of 50 and 1000 ohm behind the typed volts, then the true oscillator (circuit theory)."""
    typed = demo.levels["E"].typed
    at_port = typed["high impedance"].offset_v * 1000 / 1050
    truth = float(oscillator_frequency(at_port, truth=SKERRY.oscillator))
    assert truth == pytest.approx(demo.scans["E"].centre_mhz.n, abs=0.05)
    assert typed["50 ohm"].offset_v == pytest.approx(typed["high impedance"].offset_v / 2, abs=0.0011)


def test_lines_beyond_the_generator_say_so(demo):
    beyond = [name for name, level in demo.levels.items() if not level.at(name).reachable]
    assert beyond == ["A", "B"]


def test_each_kind_of_play_is_there(demo):
    kinds = [type(play) for play in demo.plays.values()]
    assert kinds == [GeneratorSettings, GeneratorSettings, GeneratorSettings, Sequence, SineSweep]
    steps = demo.plays["green to red, then dark"]
    assert set(steps.order) == {"D", "E", "F", "G", "park"}
    assert nominal_value(steps.mean_rf_w) < SKERRY.crystal.rated_power_w
    pair = demo.plays["yellow on and off"]
    assert pair.at("park").wanted.frequency_mhz.n == pytest.approx(demo.park.best.at_mhz)


def test_advice_is_short_and_names_a_line(demo):
    words = demo.advice.advice()
    assert 1 <= len(words) <= 3
    assert re.search(r"u of the setting of line [A-G] from", " ".join(words))


def test_the_report_shows_what_to_type_and_what_to_measure(demo):
    page = report_html(demo)
    for words in ("What to type into the generator", "What to measure next", "green and yellow in turn"):
        assert words in page
    assert "Rise of the light of line E" in page


def test_what_fails_for_several_is_told_once(demo):
    pace = pace_of(demo, safe=True)
    failed = [part for part, check, _ in pace_checks(pace) if not check.passed and check.name == "accuracy"]
    assert len(failed) == 1
    assert "line C" in failed[0]


def test_without_a_safe_supply_no_sequence_is_offered(demo):
    kinds = {type(play) for play in pace_of(demo, safe=False).plays.values()}
    assert kinds == {GeneratorSettings}


def test_rows_and_figures_of_every_part(demo):
    pace = pace_of(demo, safe=True)
    assert [row.name.split(" of ")[0] for row in pace_rows(pace)][:2] == ["Rise", "Fall"]
    assert {row[0]: row[1] for row in typed_rows(pace)}["A"] == "out of reach"
    assert any("start only" in note for note in generator_notes(pace))
    assert len(play_texts(pace)) == len(demo.facts.plays)
    assert len(pace_figures(pace)) == 3
    assert len(advice(pace)) <= 3


def test_a_session_without_edges_still_types(tmp_path):
    found = r'purpose = "(edge|modulation_depth)"'
    session = copy_of_demo(tmp_path, edit=lambda text: re.sub(found, 'purpose = "keep"', text))
    assert "sweep" not in session.parts
    assert isinstance(session.plays["four colours"], GeneratorSettings)
    with pytest.raises(SessionError, match="how fast the light follows is not known"):
        _ = session.one_edge
    assert "how fast the light follows" in str(session.troubles["play green to red, then dark"])
    assert not nothing_computed(session)


def test_a_sequence_without_the_port_says_what_it_needs(tmp_path):
    session = edited(tmp_path, "port_bandwidth_khz = 180.0", "# port_bandwidth_khz = 180.0")
    assert "port_bandwidth_khz" in str(session._troubles.get("play green to red, then dark") or session.plays)
    assert "a sequence needs port_bandwidth_khz" in str(session.troubles["play green to red, then dark"])


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ('lines = ["D", "E"]', 'lines = ["D", "X"]', "no such line: X"),
        ('lines = ["D", "E"]', 'lines = ["park"]', "none that gives light"),
        ('lines = ["D", "E"]', 'lines = ["D", "off"]', "needs dwells"),
        ('lines = ["D", "E"]', 'lines = ["D", "E"]\nequal_light = true', "equal_light: needs dwells"),
        ('lines = ["D", "E"]', 'lines = ["D", "E"]\nequal_light = 1', "neither true nor false"),
        ("dwell_us = [120, 60, 60, 120, 40]", "dwell_us = [120, 60]", "another number of dwells than of lines"),
        ("dwell_us = [120, 60, 60, 120, 40]", "dwell_us = [120, 60, 0, 1, 1]", "not such numbers"),
        ("rate_khz = 1.0", "rate_khz = 1.0\ndwell_us = 5", "a sine has neither dwells nor dark steps"),
        ('name = "four colours"', 'name = "yellow on and off"', r"\[\[play\]\] name stands twice"),
        ("u_rise_us = 0.02", "u_rise_us = -1", "out of bounds"),
    ],
)
def test_a_play_that_cannot_be_is_refused(tmp_path, old, new, match):
    with pytest.raises(SessionError, match=match):
        edited(tmp_path, old, new)


def test_one_dwell_serves_all_steps(tmp_path):
    session = edited(tmp_path, "dwell_us = [120, 60, 60, 120, 40]", "dwell_us = 80")
    assert session.facts.plays[3].dwell_us == (80.0,) * 5


def test_a_line_that_cannot_be_set_keeps_the_others(tmp_path):
    session = edited(tmp_path, 'lines = ["C", "D", "E", "G"]', 'lines = ["A", "D"]\ndwell_us = 50')
    error = session.troubles["play four colours"]
    assert isinstance(error, AotfLabError)
    assert "A: volts that cannot be set" in str(error)
    assert "green and yellow in turn" in session.plays


def test_the_photodiode_left_out_is_said(tmp_path):
    session = edited(tmp_path, "rise_us = 0.22 ", "# rise_us = 0.22 ")
    assert any("rise of the photodiode not stated" in words for words in session.facts.assumed)
    assert session.edge["E"].rise_us.n > session.edge["E"].transit_us.n * 0.6


def test_more_steps_than_can_be_sorted_are_played_as_given(demo):
    steps = [(name, 60.0) for name in ("D", "E", "F", "G") * 4]
    played = demo._played(Play("long", tuple(name for name, _ in steps), (60.0,) * len(steps)))
    assert list(played.order) == [name for name, _ in steps]
    assert "as given, the best is looked for among 12 at the most" in flat(played)
    with pytest.raises(AotfLabError, match="too many steps for an exact search; found 16"):
        demo.sequence_of(steps)
