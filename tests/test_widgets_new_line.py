"""What if I had a line at ...: against a published laser line, and against the lines that are there."""

from __future__ import annotations

from itertools import pairwise

import pytest

from aotf_lab.errors import AotfLabError, OutOfRangeError
from aotf_lab.widgets.new_line import NewLinePanel, new_line_state
from tests.house import published


@pytest.fixture(scope="module")
def panel(demo):
    return NewLinePanel(demo)


def test_air_and_vacuum_of_a_published_line_ask_for_the_same_setting(demo):
    """Unstabilised He-Ne: 632.9908 nm in vacuum, 632.8158 nm in air (CIPM list of recommended radiations)."""
    row = next(r for r in published("wavelength_standards.csv") if r["laser"] == "He-Ne unstabilised")
    vacuum, air = float(row["vac_nm"]), float(row["air_nm_15C"])
    in_air = new_line_state(demo, air, 0.01, "air")
    in_vacuum = new_line_state(demo, vacuum, 0.01, "vacuum")
    assert in_air.wavelength_nm.n == pytest.approx(vacuum, abs=2e-4)
    assert in_air.frequency_mhz.n == pytest.approx(in_vacuum.frequency_mhz.n, abs=1e-4)


def test_a_line_where_one_is_gets_its_frequency_and_full_crosstalk(demo):
    nm = demo.passbands.of["E"].wavelength_nm
    state = new_line_state(demo, nm, 0.02, "vacuum")
    peak = demo.passbands.peak_mhz("E")
    assert state.nearest == "E"
    assert abs(state.frequency_mhz.n - peak.n) < 3 * state.frequency_mhz.s
    cell = next(c for c in state.on_new if c.light_of == "E")
    assert cell.predicted_db.n == pytest.approx(0.0, abs=1.0)
    assert "dB" in dict(state.rows())["E, set to it"]


def test_the_setting_carries_what_is_not_known_of_the_wavelength(demo):
    sharp, vague = (new_line_state(demo, 540.0, u, "air") for u in (0.05, 3.0))
    step = 1e-3
    slope = (demo.tuning.frequency(540.15 + step).n - demo.tuning.frequency(540.15 - step).n) / (2 * step)
    assert vague.frequency_mhz.s == pytest.approx(abs(slope) * 3.0, rel=0.01)
    assert vague.point.largest_cause == "wavelength of the new line"
    assert sharp.point.light_lost_percent < 5 < vague.point.light_lost_percent


def test_a_line_that_cannot_be_set_says_what_is_in_the_way(demo):
    state = new_line_state(demo, 455.0, 0.5, "air")
    assert any(r.startswith("cannot be set: above what the generator gives") for r in state.remarks)


def test_a_line_at_twice_the_frequency_of_another_is_a_ghost(demo):
    at = 2 * demo.park.best.at_mhz
    nm = demo.tuning.wavelength(at).n
    state = new_line_state(demo, nm, 0.1, "vacuum")
    assert f"parked at {demo.park.best.at_mhz:.3f} MHz, 2 f lets the new line through" in dict(state.rows())["ghost"]


def test_what_has_no_meaning_is_refused(demo):
    with pytest.raises(OutOfRangeError, match="wavelength lies outside the measured range"):
        new_line_state(demo, 900.0, 0.1, "air")
    with pytest.raises(AotfLabError, match="uncertainty of the new line's wavelength; found 0 nm"):
        new_line_state(demo, 540.0, 0.0, "air")


def test_it_opens_in_the_widest_gap(panel, demo):
    known = sorted(p.wavelength_nm for p in demo.passbands.of.values())
    gaps = [b - a for a, b in pairwise(known)]
    k = gaps.index(max(gaps))
    assert known[k] < panel.wavelength_nm.value < known[k + 1]


def test_each_control_moves_numbers_and_picture(panel):
    for control, value in ((panel.wavelength_nm, 500.0), (panel.u_wavelength_nm, 2.0)):
        before = panel.numbers.value, panel.image.value
        control.value = value
        assert panel.numbers.value != before[0]
        assert panel.image.value != before[1]
    before = panel.numbers.value
    panel.medium.value = "vacuum"
    assert panel.numbers.value != before  # 0.14 nm: less than a dot of the picture
    assert panel.problems == []
