"""The opening check typed in: the same verdicts as by files, the band of a new reading, and nothing kept by itself."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.record import RecordFolder, kept_set_points, save_record
from aotf_lab.session import open_session
from aotf_lab.session.keep import keep, records_of
from aotf_lab.session.opening import opening_of
from aotf_lab.widgets.opening_check import OpeningPanel
from aotf_lab.widgets.opening_state import opening_state, places_to_read
from tests.conftest import DEMO
from tests.kept import small_crystal, small_oscillator

DAY = "2026-07-14"
TYPED = ((2.4916, 52.8058), (6.0058, 66.5201), (11.4323, 84.9914))
"""The rows of data/demo/skerry_day120/vco_check.csv, as a person reads them."""


@pytest.fixture(scope="module")
def kept(demo):
    return records_of(demo, measured="2026-03-16")


@pytest.fixture
def folder(tmp_path, kept):
    for record in kept:
        save_record(record, tmp_path)
    return tmp_path


@pytest.fixture
def panel(folder):
    return OpeningPanel.of_folder(folder, measured=DAY)


def type_in(panel, rows=TYPED):
    for k, (volts, mhz) in enumerate(rows):
        panel.drive_v[k].value = volts
        panel.frequency_mhz[k].value = mhz


def test_readings_typed_in_give_the_verdict_of_the_files(panel, folder):
    by_files = opening_of(folder, open_session(DEMO.parent / "skerry_day120"))
    type_in(panel)
    typed, filed = panel.now.opening.oscillator_link, by_files.oscillator_link
    assert typed.verdict == filed.verdict == "corrected"
    assert typed.shift_mhz == pytest.approx(filed.shift_mhz, abs=1e-5)
    assert typed.u_shift_mhz == pytest.approx(filed.u_shift_mhz, rel=1e-3)
    new = kept_set_points(by_files.oscillator, panel.crystal)
    for point in panel.now.after:
        assert point.drive_v.n == pytest.approx(new[point.line].drive_v.n, abs=1e-5)
    assert "moved by +119.3 +- 6.8 kHz and corrected" in panel.numbers.value
    assert "set for E" in panel.numbers.value
    assert f"; {new['E'].drive_other_meter_v:.2uS} V by another meter; {new['E'].rf_power_w:.2uS} W of RF" in str(panel)


def test_before_any_reading_it_says_where_to_read(panel):
    """The lowest, a middle and the highest line within reach: G 54.7, A 93.2 MHz (bench Skerry)."""
    assert panel.now.opening is None
    assert "nothing read yet" in panel.numbers.value
    expected = [panel.oscillator.frequency(v).n for v in panel.now.places_v]
    assert expected == pytest.approx([54.76, 73.98, 93.21], abs=0.03)
    assert [box.value for box in panel.frequency_mhz] == pytest.approx(expected, abs=1e-3)
    assert "read at 8.19 V" in str(panel)
    assert panel.image.value


def test_places_to_read_span_the_range_where_no_line_is_within_reach():
    assert places_to_read(small_oscillator(moved_mhz=-30.0), small_crystal()) == (2.5, 5.0, 7.5)


@pytest.mark.parametrize("same", [True, False])
def test_the_band_is_that_of_the_gap_of_a_reading(kept, same):
    """Shared or not, the counter's time base counts as in the verdict: 50 ppm of 64 MHz add 3.2 kHz in quadrature."""
    volts = 5.4
    mhz = kept[0].frequency(volts).n
    state = opening_state(*kept, measured=DAY, read=[(volts, mhz)], same_counter=same)
    u = np.interp(volts, state.drive_v, state.u_reading_mhz)
    assert u == pytest.approx(state.opening.oscillator_link.readings[0].u_gap_mhz, rel=5e-3)
    alone = opening_state(*kept, measured=DAY, same_counter=True)
    own = np.interp(volts, alone.drive_v, alone.u_reading_mhz)
    shared = 15e-6 * mhz  # the kept curve's own, session.toml; no longer cancelled by another counter
    assert u == pytest.approx(own if same else np.hypot(np.hypot(own, shared), 50e-6 * mhz), rel=5e-3)


def test_a_peak_is_judged_apart_from_the_oscillator(panel):
    panel.line.value = "D"
    assert not panel.peak_taken.value
    panel.peak_mhz.value = panel.crystal.peak("D").n + 0.04
    assert panel.peak_taken.value
    assert panel.now.opening.oscillator_link is None
    assert panel.now.opening.crystal_link.verdict == "corrected"
    assert panel.now.peak_band_khz["D"] > 1.96 * panel.u_peak_khz.value
    panel.u_peak_khz.value = 1.0
    assert panel.now.peak_band_khz["D"] < 1.96 * 3.0
    panel.line.value = "E"
    assert panel.now.opening is None  # the peak of another line is another reading


def test_what_moved_beyond_chance_but_costs_no_light_is_used_and_said(panel):
    panel.line.value = "D"
    panel.u_peak_khz.value = 1.0
    panel.peak_mhz.value = panel.crystal.peak("D").n - 0.0087
    assert panel.now.opening.crystal_link.verdict == "use"
    assert any("by less than 1 % of the light" in remark for remark in panel.now.remarks)


def test_a_changed_shape_gives_no_set_points_and_nothing_to_keep(panel, folder):
    type_in(panel, ((2.5, 53.3), (6.0, 66.9), (11.4, 84.9914)))
    assert panel.now.opening.oscillator_link.verdict == "measure again"
    assert "set for" not in panel.numbers.value
    assert "oscillator: not renewed, and not kept" in panel.now.remarks
    panel.keep.click()
    assert "Not done:" in panel.said.value
    assert "nothing to keep" in str(panel.trouble)
    assert len(list(folder.glob("*.json"))) == 2
    assert panel.now is not None


def test_only_the_button_keeps_and_only_what_was_renewed(panel, folder):
    type_in(panel)
    assert len(list(folder.glob("*.json"))) == 2
    panel.keep.click()
    assert panel.problems == []
    assert panel.now.kept == (f"oscillator_{DAY}.json",)
    assert f"kept as oscillator_{DAY}.json" in panel.numbers.value
    assert sorted(p.name for p in folder.glob(f"*{DAY}*")) == [f"oscillator_{DAY}.json"]
    latest = RecordFolder(folder).latest_oscillator()
    assert latest.numbers.values == pytest.approx(panel.now.opening.oscillator.numbers.values, abs=1e-9)
    panel.keep.click()
    assert len(list(folder.glob("*.json"))) == 3  # the same word for word is not written again
    panel.frequency_mhz[0].value += 0.01
    assert panel.now.kept == ()  # that was kept of other readings


def test_what_cannot_be_kept_is_said(kept, tmp_path):
    panel = OpeningPanel(*kept, measured=DAY)
    panel.keep.click()
    assert "nothing to keep" in str(panel.trouble)
    type_in(panel)
    panel.keep.click()
    assert "no folder to keep in" in str(panel.trouble)
    (tmp_path / "file").write_text("in the way")
    panel.folder.value = str(tmp_path / "file")
    panel.keep.click()
    assert str(panel.trouble).startswith("file: no folder to keep a calibration in; found a file of that name")
    assert panel.problems == []


def test_the_temperature_says_what_was_to_be_expected(panel):
    """19.9 C against 22.43 C at -44.3 kHz/K: +112 kHz."""
    type_in(panel)
    assert panel.now.opening.oscillator_link.expected_mhz is None
    panel.box_c.value = 19.9
    assert panel.box_noted.value
    assert panel.now.opening.oscillator_link.expected_mhz[0] == pytest.approx(0.112, abs=1e-3)
    panel.box_noted.value = False
    assert panel.now.opening.oscillator_link.expected_mhz is None


def test_a_reading_is_taken_in_when_typed_and_out_by_its_button(panel):
    panel.drive_v[0].value = 5.0
    assert not panel.taken[0].value
    assert panel.frequency_mhz[0].value == pytest.approx(panel.oscillator.frequency(5.0).n, abs=1e-4)
    panel.frequency_mhz[0].value += 0.004
    assert panel.taken[0].value
    assert len(panel.now.opening.oscillator_link.readings) == 1
    typed = panel.frequency_mhz[0].value
    panel.drive_v[0].value = 5.001
    assert panel.frequency_mhz[0].value == typed
    panel.taken[0].value = False
    assert panel.now.opening is None


def test_what_is_no_reading_is_said_in_words(panel):
    type_in(panel)
    panel.drive_v[0].value = 20.0
    assert "drive voltage lies outside the measured range; found 20 V" in panel.said.value
    assert panel.numbers.value == ""
    panel.drive_v[0].value = 2.4916
    panel.measured.value = "2025-01-01"
    assert "an opening check before its calibration" in panel.said.value
    panel.measured.value = "tomorrow"
    assert panel.now is None
    assert panel.problems == []


def test_a_day_that_is_none_is_said_before_any_reading(panel):
    panel.measured.value = "someday"
    assert "someday" in panel.said.value
    assert panel.now is None
    panel.measured.value = "2026-07-14"
    assert panel.said.value == ""


def test_a_peak_without_an_uncertainty_is_refused(kept):
    with pytest.raises(AotfLabError, match="peak of line D without an uncertainty; found 0 kHz"):
        opening_state(*kept, measured=DAY, line_peak={"D": (69.07, 0.0)})


def test_it_opens_without_any_line_or_temperature():
    panel = OpeningPanel(small_oscillator(), small_crystal(), measured="2031-06-01")
    assert panel.line.options == ("X", "Y")
    panel.frequency_mhz[1].value += 0.001
    assert panel.now.opening.oscillator_link.verdict == "use"
    assert panel.problems == []


def test_a_folder_of_kept_calibrations_is_the_session_s(tmp_path, demo):
    keep(demo, tmp_path)
    panel = OpeningPanel.of_folder(tmp_path, name=demo.facts.name)
    assert panel.folder.value == str(tmp_path)
    assert panel.now.before.points[0].line == "A"
