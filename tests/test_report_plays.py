"""What the generator is to play, on the bench sheet and in the details: typed from it, nothing dropped in silence."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from aotf_lab.planning.generator import GeneratorSettings, SineSweep
from aotf_lab.planning.sequence import Sequence
from aotf_lab.report import report_html
from aotf_lab.report.content_plays import play_texts
from aotf_lab.report.pace_parts import pace_of
from aotf_lab.report.sheet_fit import fitted
from aotf_lab.report.sheet_parts import Failure
from aotf_lab.report.sheet_rows import sheet_plays
from aotf_lab.report.write import PAPERS
from tests.test_report_sheet import checks, laid_out, parts, sheet  # noqa: F401


@pytest.fixture(scope="module")
def pace(demo):
    return pace_of(demo, True)


@pytest.fixture(scope="module")
def plays(pace):
    return {play.name: play for play in sheet_plays(pace)}


@pytest.fixture(scope="module")
def texts(pace):
    return {text.name: text for text in play_texts(pace)}


def test_every_play_of_the_session_stands_on_the_sheet(demo, plays):
    assert list(plays) == [play.name for play in demo.facts.plays]


def test_what_is_typed_makes_the_levels_by_kirchhoff(demo, plays):
    """A display for 50 ohm shows half of the open-circuit volts; 1000 ohm behind 50 ohm take 50/1050 of them."""
    found = 0
    for name, play in demo.plays.items():
        if not isinstance(play, GeneratorSettings):
            continue
        ports = [w.port_v.n for w in play.wanted]
        offset, amplitude, offset_50, amplitude_50 = map(float, plays[name].typed)
        for middle, swing in ((offset, amplitude), (2 * offset_50, 2 * amplitude_50)):
            assert (middle + swing / 2) * 1000 / 1050 == pytest.approx(max(ports), abs=0.002)
            assert (middle - swing / 2) * 1000 / 1050 == pytest.approx(min(ports), abs=0.002)
        found += 1
    assert found == 3


def test_a_play_says_what_it_is_and_what_it_costs(demo, plays):
    assert plays["green and yellow in turn"].words.startswith("square wave, high D, low E; loses up to 100 % as typed")
    assert "high E, low park" in plays["yellow on and off"].words
    assert plays["four colours"].words.startswith("wave of 4 levels, C, D, E, G")
    sine = demo.plays["sine over yellow and red"]
    shortest = min(window.dwell_us.n for window in sine.windows)
    assert plays["sine over yellow and red"].words == f"sine, 1 kHz; shortest light {shortest:.3g} µs, F rising"


def test_a_sequence_is_told_by_its_steps_its_period_and_its_worst_dead_time(demo, plays):
    play = demo.plays["green to red, then dark"]
    told = plays["green to red, then dark"]
    assert told.typed == ()
    held = [float(text) for text in re.findall(r"V, ([\d.]+) µs", told.steps)]
    assert len(held) == len(play.turns)
    assert f"period {sum(held):.2f} µs" in told.words
    dead = {t.name: t.dead_us.n for t in play.turns if t.place.line is not None}
    worst = max(dead, key=dead.get)
    assert f"longest dead time {dead[worst]:.3g} µs, to {worst}" in told.words


def test_details_of_a_play_are_a_table_that_holds_every_part_of_it(demo, texts):
    for name, play in demo.plays.items():
        text = texts[name]
        assert all(len(row) == len(text.heads) for row in text.table)
        if isinstance(play, Sequence):
            assert [row[0] for row in text.table] == list(play.order)
            assert {key for key, _ in text.rows} == {
                "order",
                "light",
                "RF power",
                "times",
                "E leaks",
                "F leaks",
                "G leaks",
            }
        elif isinstance(play, SineSweep):
            assert [row[:2] for row in text.table] == [(w.line, w.way) for w in play.windows]
        else:
            assert [row[0] for row in text.table] == [w.name for w in play.wanted]


def test_off_in_all_is_the_95_percent_limit_of_the_light_lost_beside_it(demo, texts):
    heads = texts["yellow on and off"].heads
    row = dict(zip(heads, texts["yellow on and off"].table[0], strict=True))
    made = demo.plays["yellow on and off"].at("E")
    limit = abs(made.error_mhz.n) + made.wanted.coverage * made.error_mhz.s
    assert row["Off in all, at most (kHz)"] == f"{1e3 * limit:.3g}"
    assert row["Light lost as typed, at most"] == f"{made.light_lost_percent:.0f} %"


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("count", "failed"), [(5, 2), (14, 2), (14, 12), (60, 0), (60, 30)])
def test_many_plays_keep_to_one_page_and_are_never_dropped_in_silence(sheet, paper, count, failed):  # noqa: F811
    some = tuple(replace(sheet.plays[k % 5], name=f"play {k} of a long name") for k in range(count))
    long = Failure("Generator, line A, line B and 8 more: accuracy", 49 * "abc ", "100 %", 62 * "ab ")
    full = fitted(replace(sheet, plays=some, failures=(long,) * failed, more=0))
    assert full.plays == some[: len(full.plays)]
    assert len(full.plays) + full.more_plays == count
    assert len(full.failures) + full.more == failed
    assert full.size_pt >= 7.5
    first, second, *_ = laid_out(full, paper)
    assert {"sheet", "signed"} <= set(first.anchors)
    assert "details" in second.anchors


def test_sheet_says_how_many_plays_found_no_room(demo, monkeypatch):
    from aotf_lab.report import sheet as module

    kept = module.sheet_plays
    monkeypatch.setattr(module, "sheet_plays", lambda pace: kept(pace) * 12)
    page = report_html(demo)
    shown = page.count('<td class="words" data-label="What it is">')
    assert 0 < shown < 60
    assert f"And {60 - shown} more: see “What to type into the generator” in the details." in page
