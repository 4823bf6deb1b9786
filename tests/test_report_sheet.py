"""The bench sheet: everything to set, on one page of either paper, with what failed, its cost and the cure."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from types import SimpleNamespace

import pytest

from aotf_lab.errors import SessionError
from aotf_lab.planning import SetPoints
from aotf_lab.report.checks import PartCheck, gathered_checks
from aotf_lab.report.content import set_point_rows
from aotf_lab.report.content_files import all_files_sha256
from aotf_lab.report.content_pace import typed_rows
from aotf_lab.report.driver_parts import driver_of
from aotf_lab.report.findings import Finding
from aotf_lab.report.light_parts import light_of
from aotf_lab.report.pace_parts import pace_of
from aotf_lab.report.page import rendered
from aotf_lab.report.sheet import bench_sheet
from aotf_lab.report.sheet_fit import fitted
from aotf_lab.report.sheet_parts import Box, Failure
from aotf_lab.report.sheet_rows import Texts, failures
from aotf_lab.report.write import PAPERS
from tests.conftest import DEMO


@pytest.fixture(scope="module")
def parts(demo):
    driver = driver_of(demo, demo.safe_supply, "")
    return driver, light_of(demo, driver), pace_of(demo, True)


@pytest.fixture(scope="module")
def checks(demo, parts):
    return gathered_checks(demo, *parts)


@pytest.fixture(scope="module")
def sheet(demo, parts, checks):
    points = demo.set_points()
    return bench_sheet(demo, parts, points, texts(demo, parts[2], points, demo.safe_supply.supply_v), (checks, []))


def texts(demo, pace, points, highest_v):
    return Texts(set_point_rows(points, highest_v), typed_rows(pace), all_files_sha256(demo))


def laid_out(sheet, paper):
    """Return the pages of a report with the sheet and nothing else, as WeasyPrint lays them out."""
    weasyprint = pytest.importorskip("weasyprint")
    lists = ("set_points", "verdict", "troubles", "typed", "plays", "advice", "failed", "passed", "unused", "findings",
             "told_nowhere", "figures", "numbers", "number_heads", "method", "assumed", "files",
             "cautions")  # fmt: skip
    nothing = dict.fromkeys(lists, ()) | {"in_time": None, "all_files": ""}
    page = rendered("template.html", title="Skerry", sheet=sheet, paper=paper, against=None, version="1", **nothing)
    return weasyprint.HTML(string=page).render().pages


def test_sheet_holds_what_is_set_for_each_line(sheet, demo):
    points = demo.set_points()
    assert [line.name for line in sheet.lines] == [p.line for p in points]
    for line, point in zip(sheet.lines, points, strict=True):
        assert line.drive == f"{point.drive_v:.2uS}"
        assert line.rf_power == f"{point.rf_power_w:.2uS}"
        assert float(line.supply.partition("(")[0]) <= demo.safe_supply.supply_v
        if line.name in "AB":
            assert line.typed == ("out of reach",)
        else:
            high, fifty = map(float, line.typed)
            assert high == pytest.approx(demo.levels[line.name].typed["high impedance"].offset_v, abs=1e-9)
            assert fifty == pytest.approx(high / 2, abs=0.001)


def test_sheet_holds_the_numbers_for_all_lines(sheet, demo):
    supply, wait, park = sheet.boxes
    assert float(supply.value.removesuffix(" V")) <= demo.safe_supply.supply_v
    assert 20 < int(wait.value.removesuffix(" min")) < 90
    assert park.value == f"{demo.park.drive_v:.2uS} V"
    assert f"{-demo.park.bound_db:.1f} dB" in park.words
    assert sheet.day == "2026-03-16"


def test_every_failed_check_of_the_demo_has_its_cost_and_its_cure(sheet, checks):
    assert len(sheet.failures) == sum(not c.passed for c in checks)
    assert sheet.more == 0
    reach, accuracy = sheet.failures
    assert reach.title == "Generator, line A, line B: reach"
    assert reach.cost == "100 %"
    assert reach.cure.startswith("add a battery")
    assert accuracy.title.endswith("and 9 more: accuracy")
    assert "voltmeter" in accuracy.cure


def test_hash_is_what_other_tools_print(demo, sheet):
    names = {p.path.name for p in demo.facts.files} | {"session.toml"}
    printed = subprocess.run(["sha256sum", *sorted(names)], cwd=DEMO, capture_output=True, check=True).stdout
    in_order = b"".join(sorted(printed.splitlines(keepends=True)))
    whole = subprocess.run(["sha256sum"], input=in_order, capture_output=True, check=True).stdout.decode().split()[0]
    assert all_files_sha256(demo) == whole
    assert sheet.sha256 == whole[:16]


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("lines", "failed", "name"), [(7, 2, ""), (12, 4, ""), (12, 30, ""), (12, 3, " red diode")])
def test_sheet_stands_on_one_page(sheet, paper, lines, failed, name):
    some = tuple(replace(sheet.lines[2 + k % 5], name=f"{chr(65 + k)}{name}") for k in range(lines))
    long = Failure("Generator, line A, line B and 8 more: accuracy", 49 * "abc ", "100 %", 62 * "ab ")
    full = fitted(replace(sheet, lines=some, failures=(long,) * failed, more=0))
    assert len(full.failures) + full.more == failed
    assert full.size_pt >= 7.5
    first, second, *_ = laid_out(full, paper)
    assert {"sheet", "signed"} <= set(first.anchors)
    assert "details" in second.anchors


@pytest.mark.parametrize("paper", PAPERS)
def test_sheet_of_the_demo_stands_on_one_page_and_fills_it(sheet, paper):
    first, second, *_ = laid_out(sheet, paper)
    assert "details" in second.anchors
    assert 0.6 * first.height < first.anchors["signed"][1] < first.height


def test_what_needs_more_room_is_set_smaller_and_left_out_last(sheet):
    one = sheet.failures[0]
    sizes = [fitted(replace(sheet, failures=(one,) * n, more=0)).size_pt for n in (0, 2, 4, 6)]
    assert sizes == sorted(sizes, reverse=True)
    many = fitted(replace(sheet, failures=(one,) * 40, more=0))
    assert many.more > 0
    assert all(len(f.words) <= 70 for f in many.failures)
    assert [line.drive for line in many.lines] == [line.drive for line in sheet.lines]


def test_more_lines_than_a_page_holds_are_all_kept(sheet):
    assert len(fitted(replace(sheet, lines=sheet.lines * 12)).lines) == 84


def test_what_could_not_be_computed_is_told(demo, parts, checks):
    driver, light, pace = parts
    bare = replace(driver, safe=None, withheld="the rating is not stated", warm_up=None)
    points = demo.set_points()
    dark, still = replace(light, park=None, one_drive=None), replace(pace, levels={}, plays={})
    sheet = bench_sheet(demo, (bare, dark, still), points, texts(demo, still, points, None), (checks, []))
    assert sheet.boxes == (
        Box("Supply of the amplifier, never above", "no supply", "none is called safe: the rating is not stated"),
        Box("After power-on, wait", "not known", "no warm-up was logged"),
        Box("No light wanted: RF off, or park at", "RF off", "no place to park was computed"),
    )
    assert not sheet.typed
    assert {line.supply for line in sheet.lines} == {"–"}
    assert len(sheet.notes) == 1


def test_lines_that_must_not_be_used_and_grave_findings_come_first(demo):
    points = demo.set_points()
    e = replace(points["E"], doubtful=True, remark="probably mislabelled")
    f = replace(points["F"], reachable=False, remark="beyond the oscillator")
    findings = [Finding("a.csv:3", "counts doubled", "Found 1", "read again", True), Finding("b", "c", "d", "e", False)]
    check = PartCheck("Oscillator", "scatter", False, "chi2 = 9 on 1; look for an outlier", "", "12 %")
    told = failures(demo, SetPoints((points["D"], e, f)), [check, replace(check, passed=True)], findings)
    assert [(t.title, t.cost, t.cure) for t in told] == [
        ("Line E: do not use it", "", ""),
        ("Line F: no set-point", "all of it", ""),
        ("a.csv:3, counts doubled", "", "read again"),
        ("Oscillator: scatter", "12 %", "look for an outlier"),
    ]


def test_lines_that_lack_the_same_stand_together(demo):
    points = demo.set_points()
    error = SessionError("no file with purpose 'oscillator'", found="scan", allowed="one", cure="add it")
    lacking = [replace(points[n], reachable=False, remark=f"no oscillator curve: {error}") for n in "DEF"]
    beyond = replace(points["A"], reachable=False, remark=f"beyond; no oscillator curve: {error}")
    session = SimpleNamespace(troubles={"vco": error})
    told = failures(session, SetPoints((beyond, *lacking)), [], [])
    assert [(t.title, t.words, t.cure) for t in told] == [
        ("Line A: no set-point", "beyond; no oscillator curve", "see \u201cNot computed\u201d below"),
        ("Lines D, E and F: no set-point", "no oscillator curve", "see \u201cNot computed\u201d below"),
        ("Not computed: oscillator curve", "no file with purpose 'oscillator'", "add it"),
    ]
