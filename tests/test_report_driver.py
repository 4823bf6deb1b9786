"""The driver in the report: no supply above the safe one, no number from a spoilt trace, every gap is said."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from aotf_lab.planning import SetPoints
from aotf_lab.report import report_html
from aotf_lab.report.checks import gathered_checks, told_nowhere
from aotf_lab.report.content import SET_POINT_HEADS, set_point_rows
from aotf_lab.report.content_driver import driver_rows
from aotf_lab.report.content_time import time_table
from aotf_lab.report.content_traces import unused_traces
from aotf_lab.report.content_verdict import supply_sentence, verdict
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.figures import PAIR
from aotf_lab.report.figures_driver import driver_figures
from aotf_lab.report.light_parts import light_of
from aotf_lab.report.pace_parts import pace_of
from aotf_lab.session.rerun.failed import failed_in_words
from aotf_lab.session.rerun.results import all_checks
from tests.test_report import Page
from tests.test_session import copy_of_demo

BAD_TRACES = ["trace_clipped.csv", "trace_slow.csv"]
SUPPLY = re.compile(r'data-label="Amplifier supply \(V\)">([\d.]+|–)')


@pytest.fixture(scope="module")
def html(demo):
    return report_html(demo)


@pytest.fixture(scope="module")
def driver(demo):
    return driver_of(demo, demo.safe_supply, "")


def number(driver, name):
    (row,) = [r for r in driver_rows(driver) if r.name.startswith(name)]
    return row


def test_no_supply_on_the_page_is_above_the_safe_one(html, demo):
    supplies = [float(text) for text in SUPPLY.findall(html)]
    assert len(supplies) == 7
    assert max(supplies) <= demo.safe_supply.supply_v
    assert f"Supply of the amplifier: {demo.safe_supply.supply_v:.2f} V at the most" in html


def test_rounding_lifts_no_supply_above_the_safe_one(demo):
    point = next(iter(demo.set_points()))
    wide = point.supply_v * 0 + 9.53 + 5.0 * (point.supply_v - point.supply_v.n) / point.supply_v.s
    column = SET_POINT_HEADS.index("Amplifier supply (V)")
    (row,) = set_point_rows(SetPoints((replace(point, supply_v=wide),)), 9.53)
    assert float(row[column].partition("(")[0]) <= 9.53
    (row,) = set_point_rows(SetPoints((replace(point, supply_v=wide + 0.4),)), 9.53)
    assert row[column] == "9.53"
    (row,) = set_point_rows(SetPoints((point,)), None)
    assert row[column] == "–"


@pytest.mark.parametrize(
    ("missing", "said"),
    [
        ("rated_rf_power_w", "[crystal] rated_rf_power_w is not stated"),
        ("pad_db", "[instrument.scope] pad_db not stated: RF power may be wrong by any factor"),
    ],
)
def test_without_a_safe_supply_the_page_says_why_and_gives_none(tmp_path, missing, said):
    page = report_html(copy_of_demo(tmp_path, edit=lambda t: re.sub(rf"(?m)^{missing} .*$", "", t)))
    assert set(SUPPLY.findall(page)) == {"–"}
    assert f"No supply of the amplifier is called safe: {said}" in page
    assert "V at the most" not in page
    assert "Highest safe supply of the amplifier" not in page
    assert "the highest safe supply is" not in page


def test_a_supply_that_the_measured_range_holds_is_said_to_be(driver):
    assert "highest supply measured" not in supply_sentence(driver)
    held = replace(driver, safe=replace(driver.safe, held_by="the highest supply measured"))
    assert "V at the most (the highest supply measured)." in supply_sentence(held)


def test_spoilt_traces_are_listed_and_are_no_failed_checks(html, demo, driver):
    assert [t.name for t in unused_traces(driver)] == BAD_TRACES
    checks = gathered_checks(demo, driver, light_of(demo, driver), pace_of(demo, True))
    assert not [c for c in checks if any(name in c.part for name in BAD_TRACES)]
    assert "17 checks failed, for 7 reasons; read them" in html  # all of the session, theirs too
    assert "2 of 8 traces are not used; the reason stands below." in html
    clipped, slow = (t.details for t in unused_traces(driver))
    assert any(d.startswith("clipping: ") and "larger vertical range" in d for d in clipped)
    assert any(d.startswith("alias: ") and "faster time base" in d for d in slow)
    for name in BAD_TRACES:
        assert f"Trace {name} is not used." in html


def test_a_failed_check_of_a_trace_that_is_used_counts(demo, driver):
    used, spoilt = driver.good["trace_64mhz_8v.csv"], driver.unused["trace_slow.csv"]
    doubted = replace(used, fit=used.fit.with_checks(*spoilt.fit.failed))
    light = light_of(demo, driver)
    failed = [
        c
        for c in gathered_checks(demo, replace(driver, good={"x.csv": doubted}), light, pace_of(demo, True))
        if not c.passed
    ]
    assert {c.part for c in failed if not c.part.startswith("Generator")} == {"Trace x.csv"}
    checks = gathered_checks(demo, replace(driver, good={"x": doubted}), light, pace_of(demo, True))
    asked = [c for c in all_checks(demo) if not c.passed]
    sentences = verdict(demo, driver, demo.set_points(), checks, asked)
    assert f"{failed_in_words(c.title for c in asked)}; read them before you rely on a number." in sentences
    told = verdict(demo, driver, demo.set_points(), [c for c in checks if c.passed], asked[:1])
    assert "1 check failed, in what this page does not use." in told


def test_a_failed_check_of_what_the_report_does_not_print_stands_apart(html, demo, driver):
    checks, pace = gathered_checks(demo, driver, light_of(demo, driver), pace_of(demo, True)), pace_of(demo, True)
    asked = [c for c in all_checks(demo) if not c.passed]
    assert [c.title for c in told_nowhere(asked, checks, driver, pace)] == ["efficiency.own [B]: reach"]
    assert "<strong>efficiency.own [B]: reach.</strong>" in html.split("Failed too, in results that this page")[1]
    details = {c.detail for c in asked}
    assert {c.detail for c in checks if not c.passed} <= details


def test_every_part_of_the_driver_has_its_checks(demo, driver):
    parts = {c.part for c in gathered_checks(demo, driver, light_of(demo, driver), pace_of(demo, True))}
    assert {"RF power against the supply", "Match of the crystal", "Warm-up", "Stability", "Pushing"} <= parts
    assert {f"Trace {name}" for name in driver.good} <= parts


def test_numbers_are_those_of_the_driver(demo, driver):
    assert number(driver, "Highest safe supply").value == f"{demo.safe_supply.supply_v:.2f} V"
    assert number(driver, "Heat of the amplifier").value.startswith(
        f"{demo.level.heat_w(demo.safe_supply.supply_v, demo.safe_supply.at_mhz):.2uS}"
    )
    for term in demo.safe_supply.terms:
        assert f"{term.name} × {term.factor:.3f}" in number(driver, "97.5 % bound").causes
    excess = [100 * driver.good[n].rms_excess.n for n in driver.good]
    assert number(driver, "RF power from volts rms").interval == (
        f"{min(excess):+.1f} to {max(excess):+.1f} % from trace to trace"
    )
    assert f"{1e3 * demo.pushing.mhz_per_v:.2uS}" in number(driver, "Frequency against the oscillator's own").value


def test_a_harmonic_below_the_noise_is_a_limit_and_no_number(driver):
    assert re.fullmatch(r"below -\d+ dBc", number(driver, "Harmonic 5").value)
    assert number(driver, "Harmonic 5").interval == "an upper limit"


def test_wait_is_said_in_whole_minutes_rounded_up_and_from_when(html, demo):
    width = min(scan.fwhm_mhz.n for scan in demo.scans.values())
    minutes = int(re.search(r"Wait (\d+) min after power-on, counted from the first reading", html)[1])
    left = [abs(demo.warm_up.remaining_mhz(60.0 * m).n) for m in (minutes, minutes - 5)]
    assert left[0] < 0.063 * width < left[1]


def test_budget_in_time_says_what_it_supposes_and_leaves_out(demo, driver):
    table = time_table(demo, driver, demo.set_points())
    assert "Supposed: line E," in table.supposed
    assert {row[0] for row in table.rows} >= {"warm-up left", "temperature of the box", "jitter", "wander"}
    assert sum(float(row[4].removesuffix(" %")) for row in table.rows) == pytest.approx(100, abs=3)
    assert [words.partition(":")[0] for words in table.left_out] == ["supply", "load", "hum"]
    assert time_table(demo, replace(driver, warm_up=None), demo.set_points()) is None


def test_figures_of_the_driver_say_what_they_show(demo, driver):
    figures = driver_figures(demo, driver)
    assert len(figures) == 6
    assert all(f.width == PAIR and len(f.alt) > 30 and f.caption.endswith(".") for f in figures)
    assert any("trace_64mhz_10v.csv" in f.caption for f in figures)
    nothing = replace(driver, level=None, match=None, warm_up=None, stability=None, good={})
    assert driver_figures(demo, nothing) == []


def test_a_session_of_the_driver_alone_is_reported(tmp_path):
    only = r'purpose = "(oscillator|scan|efficiency|warm_up|pushing|match|trace)"'
    page = report_html(copy_of_demo(tmp_path, edit=lambda t: re.sub(only, 'purpose = "keep"', t)))
    assert Page(page).open == []
    assert "Amplifier: RF power against its supply" in page
    assert "0 of 7 lines can be set" in page
