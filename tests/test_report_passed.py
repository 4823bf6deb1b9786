"""Passed checks, gathered by their question: none lost, and the closest to its limit told."""

from __future__ import annotations

import html as markup
import re
from collections import Counter

import pytest

from aotf_lab.estimation.checks import chi2_check, z_check
from aotf_lab.report import report_html
from aotf_lab.report.checks import PartCheck, gathered_checks
from aotf_lab.report.checks_passed import passed_once, passed_rows
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.light_parts import light_of
from aotf_lab.report.pace_parts import pace_of
from aotf_lab.report.words import typeset
from aotf_lab.session.rerun.failed import question
from aotf_lab.session.rerun.results import results


@pytest.fixture(scope="module")
def checks(demo):
    driver = driver_of(demo, demo.safe_supply, "")
    return gathered_checks(demo, driver, light_of(demo, driver), pace_of(demo, True))


def test_no_passed_check_is_lost(checks):
    asked = Counter(question(c.name) for c in checks if c.passed)
    rows = {row.name: int(row.asked) for row in passed_rows(checks)}
    once = [name for name, _ in passed_once(checks)]
    assert rows | dict.fromkeys(once, 1) == asked
    assert not set(rows) & set(once)
    assert sum(asked.values()) > 300


def test_every_passed_check_stands_in_full_on_the_page(checks, demo):
    page = markup.unescape(report_html(demo))
    full = page[page.index('<details class="all">') : page.index("</details>")]
    assert all(f"{c.part}, {c.name}: {typeset(c.detail)}." in full for c in checks if c.passed)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("scatter", r"chi2 = ([\d.]+) on .*, limit ([\d.]+)"),
        ("single readings", r"largest residual ([\d.]+) standard deviations at .*, limit ([\d.]+)"),
        ("known before", r": ([\d.]+) standard uncertainties apart, limit ([\d.]+)"),
    ],
)
def test_the_closest_is_the_one_whose_own_words_say_so(checks, name, words):
    found = {}
    for check in checks:
        told = re.search(words, check.detail)
        if check.passed and question(check.name) == name and told:
            found[check.part, check.detail] = float(told[1]) / float(told[2])
    row = next(row for row in passed_rows(checks) if row.name == name)
    most = max(found.values())
    near = [part for (part, _), share in found.items() if share > most - 0.03]
    assert float(row.used.removesuffix(" %")) == pytest.approx(100 * most, abs=3)
    assert row.closest.partition(":")[0] in near


def test_what_passed_used_no_more_than_its_limit_and_what_failed_did(checks):
    used = [c.of_limit for c in checks if c.of_limit is not None]
    assert len(used) > 150
    assert all(0 <= c.of_limit <= 1 for c in checks if c.passed and c.of_limit is not None)
    assert chi2_check(90.0, 10, "the sweep").of_limit > 1
    assert z_check("drift", 0.12, 0.02, "the drift", "MHz", "wait").of_limit == pytest.approx(6 / 3.09, rel=2e-3)


def test_a_question_without_numbers_tells_the_first():
    some = [PartCheck(f"Trace {k}", "clipping", True, f"fine {k}", "") for k in "abc"]
    (row,) = passed_rows(some)
    assert (row.asked, row.used, row.closest) == ("3", "", "Trace a: fine a")


def test_every_check_of_the_page_stands_in_the_results(checks, demo):
    kept = {(c.name, c.passed, c.detail, c.of_limit) for c in results(demo).checks}
    assert {(c.name, c.passed, c.detail, c.of_limit) for c in checks} <= kept
