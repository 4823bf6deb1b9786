"""Set-points of the demo bench: consistent with the curves, safe, and honest about what is out of reach."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, UnsafeDriveError
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.planning import Curves, set_points, upper_bound
from aotf_lab.planning.power_point import line_power


@pytest.fixture(scope="module")
def points(demo):
    return demo.set_points()


def test_every_line_of_the_session_has_a_row(demo, points):
    assert [p.line for p in points] == [line.name for line in demo.facts.lines]
    assert all(p.reachable for p in points)


def test_the_voltage_makes_the_frequency(demo, points):
    for point in points:
        back = demo.vco.frequency(point.drive_v.n)
        assert back.n == pytest.approx(point.frequency_mhz.n, abs=1e-6)
        assert point.u_setting_mhz == pytest.approx((back - point.frequency_mhz).s)


def test_the_counter_cancels_between_the_two_calibrations(points):
    # the same counter read the oscillator and the scans, so its time base is no cause of a set-point's error
    for point in points:
        assert point.budget.get("counter time base", 0.0) < 1e-6
        assert point.frequency_mhz.error_components()


def test_light_lost_is_that_of_the_passband_at_the_95_percent_limit(demo, points):
    point = points["E"]
    fwhm = demo.curves.fwhm_mhz(point.frequency_mhz.n)
    assert point.share_of_fwhm == pytest.approx(point.u_setting_mhz / fwhm)
    expected = 100 * light_lost(stats.norm.ppf(0.975) * point.share_of_fwhm)
    assert point.light_lost_percent == pytest.approx(float(expected))


def test_no_power_above_the_rating(demo, points):
    for point in points:
        assert upper_bound(point.rf_power_w) <= demo.facts.crystal.rated_rf_power_w * (1 + 1e-9)


def test_a_wanted_power_above_the_rating_is_refused(demo):
    with pytest.raises(UnsafeDriveError, match=r"could exceed the crystal's rating; found 0.790"):
        set_points(demo, ["E"], rf_power_w=0.79)


def test_a_wanted_power_below_the_rating_is_used(demo):
    point = set_points(demo, ["E"], rf_power_w=0.2)["E"]
    assert point.rf_power_w.n == pytest.approx(0.2)
    assert point.efficiency.n == pytest.approx(demo.efficiency.line("E").efficiency(0.2).n)
    # the same scope read both, so the power scale is no cause of the efficiency's error
    assert point.efficiency.s < demo.efficiency.line("E").efficiency(0.2).s


def test_without_a_rating_no_power_is_given(demo):
    point = set_points(replace(demo.curves, rated_rf_power_w=None), {"E": 589.12})["E"]
    assert point.rf_power_w is None
    assert "state [crystal] rated_rf_power_w" in point.remark


def test_without_efficiency_no_power_is_given(demo):
    point = set_points(replace(demo.curves, efficiency=None), {"E": 589.12})["E"]
    assert point.rf_power_w is None
    assert "efficiency against RF power was not measured" in point.remark


def test_a_line_far_from_every_measured_efficiency_is_told_to_measure_its_own(demo):
    found = line_power(demo.efficiency.curves, 0.8, 400.0, where="deep")
    assert found.rf_power_w is None
    assert "tell it from 426 to 738 nm only" in found.remark
    assert found.remark.endswith("measure the efficiency of this line")


def test_a_line_that_was_never_scanned_comes_from_the_tuning_curve(demo):
    point = set_points(demo, [610.0])["610 nm"]
    assert point.origin == "tuning curve"
    assert point.frequency_mhz.n == pytest.approx(demo.tuning.frequency(610.0).n)
    assert point.u_setting_mhz > set_points(demo, ["E"])["E"].u_setting_mhz


def test_out_of_range_stays_in_the_table_with_its_reason(demo):
    points = set_points(demo, {"deep": 400.0, "E": ufloat(589.12, 0.1)})
    assert not points["deep"].reachable
    assert "outside the measured range" in points["deep"].remark
    assert points["E"].reachable


def test_a_name_that_is_no_line_is_refused(demo):
    with pytest.raises(AotfLabError, match=r"no such line; found 'Z'; allowed: one of A, B, C"):
        set_points(demo, ["Z"])


def test_nothing_measured_says_so():
    point = set_points(Curves(), {"X": 500.0})["X"]
    assert not point.reachable
    assert "no oscillator curve" in point.remark


def test_files_hold_what_the_table_holds(points, tmp_path):
    table = points.table
    read = pd.read_csv(points.to_csv(tmp_path / "set.csv"))
    np.testing.assert_allclose(read["drive_v"], table["drive_v"])
    records = json.loads(points.to_json(tmp_path / "set.json").read_text(encoding="utf-8"))
    assert [r["line"] for r in records] == list(table["line"])
    assert records[0]["u_drive_v"] == pytest.approx(table["u_drive_v"].iloc[0])


def test_text_names_every_line(points):
    named = [line.partition("  ")[0] for line in str(points).splitlines() if not line.startswith(" ")]
    assert named == [point.line for point in points] == list("ABCDEFG")
    assert "MHz" in str(points)
    page = points._repr_html_()
    assert page.startswith("<table")
    for point in points:
        assert f"<td>{point.drive_v:.2uS}</td>" in page
