"""Which line is which peak: a mistyped anchor, exchanged lines and a line given twice, on the demo bench's peaks."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.simulate.truth import SKERRY
from aotf_lab.widgets.assignment import AssignmentPanel, assignment_state, lines_to_choose


@pytest.fixture(scope="module")
def peaks(demo):
    return {name: scan.centre_mhz for name, scan in demo.scans.items()}


@pytest.fixture(scope="module")
def lines(demo):
    return lines_to_choose(demo.stated_nm)


@pytest.fixture
def panel(demo):
    return AssignmentPanel(demo)


def test_as_the_bench_named_them_all_agree(peaks, lines):
    state = assignment_state(peaks, lines)
    assert state.wrong == ()
    assert state.title == "7 of 7 peaks assigned: all agree"


@pytest.mark.parametrize("name", list("ACDEF"))
def test_the_others_put_a_line_where_it_truly_is(peaks, lines, name):
    truth = next(line.wavelength_air_nm for line in SKERRY.lines if line.name == name)
    found = next(f for f in assignment_state(peaks, lines).found if f.peak == name)
    assert abs(found.wavelength_nm.n - float(air_to_vacuum(truth))) < 3 * found.wavelength_nm.s


def test_a_mistyped_anchor_is_named_with_its_cure(demo, peaks):
    wrong = float(air_to_vacuum(598.96))
    state = assignment_state(peaks, lines_to_choose({**demo.stated_nm, "E": ufloat(wrong, 0.1)}))
    assert "E" in state.wrong
    assert max(state.found, key=lambda f: abs(f.z or 0.0)).peak == "E"
    assert any("E as E" in r and "588.96 nm in air (one slip from 598.96)" in r for r in state.remarks)


def test_a_line_left_out_of_the_choice_is_found_by_the_others(peaks, lines):
    state = assignment_state(peaks, {**lines, "C": None})
    found = next(f for f in state.found if f.peak == "C")
    assert found.line is None
    assert abs(found.wavelength_nm.n - float(air_to_vacuum(517.9))) < 3 * found.wavelength_nm.s
    assert "none of them; the others put it at" in dict(state.rows())["peak C"]


def test_what_cannot_be_is_refused(peaks, lines):
    with pytest.raises(AotfLabError, match="one line for two peaks; found E for D, E"):
        assignment_state(peaks, {**lines, "D": lines["E"]})
    with pytest.raises(AotfLabError, match="too few peaks with a line; found 1"):
        assignment_state(peaks, {"A": lines["A"]})
    with pytest.raises(ReadingsError, match=r"the labels of .* seem to be exchanged"):
        assignment_state(peaks, {**lines, "D": lines["E"], "E": lines["D"]})


def test_choosing_lines_moves_numbers_and_picture(panel):
    before = panel.numbers.value, panel.image.value
    panel.line_of["D"].value = ""
    assert "6 of 7 peaks assigned" in panel.numbers.value
    assert panel.image.value != before[1]
    panel.as_named.click()
    assert (panel.numbers.value, panel.image.value) == before


def test_an_exchange_is_said_and_undone_by_the_likeliest(panel):
    panel.line_of["D"].value = "E"
    assert "one line for two peaks" in panel.said.value
    assert panel.numbers.value == ""
    panel.line_of["E"].value = "D"
    assert "seem to be exchanged" in panel.said.value
    panel.likeliest.click()
    assert {n: box.value for n, box in panel.line_of.items()} == {n: n for n in "ABCDEFG"}
    assert panel.said.value == ""
    assert panel.problems == []


def test_another_table_of_lines_can_be_tried(demo):
    wrong = {**demo.stated_nm, "E": ufloat(float(air_to_vacuum(598.96)), 0.1)}
    panel = AssignmentPanel(demo, wrong)
    assert panel.likeliest.disabled
    assert "probably mislabelled" in panel.numbers.value
    panel.line_of["E"].value = ""
    assert panel.now.wrong == ()
    assert panel.problems == []


def test_gaps_are_in_their_own_uncertainties(peaks, lines):
    for each in assignment_state(peaks, lines).found:
        gap = each.line.wavelength_nm - each.wavelength_nm.n
        assert each.z == pytest.approx(gap / np.hypot(each.line.u_wavelength_nm, each.wavelength_nm.s))
