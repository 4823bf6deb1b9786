"""What ``fit_scan`` says of scans with known truth, in whatever shape the readings come.

Outside: values and covariance of ``scipy.optimize.curve_fit`` on the same readings. The rest are simulated benches
(tests/benchmarks/scan_bench.py), which are made without the package's model of a scan.
"""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit
from uncertainties import ufloat

import aotf_lab
from aotf_lab import fit_scan
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.coupled_waves import diffraction_efficiency, peak_efficiency, sidelobe_level_db
from aotf_lab.reading.readings import Readings
from aotf_lab.simulate.light import true_peak_frequency
from aotf_lab.simulate.truth import SKERRY
from tests.benchmarks.scan_bench import Scenario, Truth, grids, measured

TRUTH = Truth(64.2, 0.31, 0.06, 0.6, "tanh D")
BOTH = Scenario("up and down")


def scan_of(scenario=BOTH, seed=1, truth=TRUTH):
    rng = np.random.default_rng(seed)
    return measured(scenario, truth, grids(scenario, truth, rng), rng)


def off(value, true):
    return abs(value.n - true) / value.s


@pytest.fixture(scope="module")
def scan():
    return fit_scan(scan_of(), line="D")


def test_up_and_down_give_peak_width_lag_and_drive(scan):
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert scan.centre_mhz.s < 0.0006
    assert off(scan.fwhm_mhz, 0.31) < 3.5
    assert off(scan.peak_power_mw, 1.0) < 3.5
    assert off(scan.floor_mw, 0.0023) < 3.5
    assert off(scan.skew, 0.06) < 3.5
    assert off(scan.drive_ratio, 0.6) < 3.5
    assert off(scan.time_constant_s, 0.9) < 3.5
    kept = np.exp(-0.5 / 0.9)
    assert off(scan.lag_mhz, 0.034 * kept / (1 - kept)) < 3.5
    assert scan.fit.trusted, [str(c) for c in scan.fit.failed]


def test_readings_without_lag_agree_with_curve_fit():
    """Values to 1e-5 of u, standard uncertainties to 3 %: a possible wander of the light is part of ours."""
    truth = Truth(64.2, 0.31, 0.0, 0.6, "tanh D")
    scenario = Scenario("photodiode", points=(41,), head_s=0.0)
    (table,) = scan_of(scenario, 3, truth)
    scan = fit_scan(table, drive_ratio=0.6, time_constant_s=0.0)
    scale = truth.per_mhz * 0.31

    def model(f, centre, fwhm, peak, floor, skew):
        d = scale / fwhm * (f - centre)
        return peak * diffraction_efficiency(d * (1 - skew * np.tanh(d)), 0.6) / peak_efficiency(0.6) + floor

    u = np.sqrt(np.diag(np.linalg.inv(scan.solution.noise.root @ scan.solution.noise.root)))
    f, y = table["frequency_mhz"].to_numpy(), table["optical_power_mw"].to_numpy()
    best, covariance = curve_fit(model, f, y, [64.2, 0.31, 1.0, 0.0, 0.0], sigma=u, absolute_sigma=True)
    assert scan.centre_mhz.n == pytest.approx(best[0], abs=0.15 * scan.centre_mhz.s)
    assert scan.fwhm_mhz.n == pytest.approx(best[1], abs=0.15 * scan.fwhm_mhz.s)
    assert scan.centre_mhz.s == pytest.approx(covariance[0, 0] ** 0.5, rel=0.1)


def test_one_table_of_both_ways_is_the_same_as_two():
    up, down = scan_of()
    two = fit_scan([up, down])
    later = down.assign(time_s=down["time_s"] + up["time_s"].iloc[-1] + 30.0)
    for one in (pd.concat([up, down], ignore_index=True), pd.concat([up, later], ignore_index=True)):
        assert fit_scan(one).centre_mhz.n == pytest.approx(two.centre_mhz.n, abs=0.2 * two.centre_mhz.s)


def test_rows_sorted_by_frequency_are_put_back_into_the_order_of_time():
    whole = pd.concat(scan_of(), ignore_index=True)
    timed = fit_scan(whole.sort_values("frequency_mhz", kind="stable"))
    assert timed.lag_mhz.n == pytest.approx(fit_scan(whole).lag_mhz.n, rel=1e-4)
    untimed = whole.drop(columns="time_s").sort_values("frequency_mhz", kind="stable").reset_index(drop=True)
    scan = fit_scan(untimed)
    assert scan.lag_mhz.n == pytest.approx(timed.lag_mhz.n, rel=0.01)
    assert scan.time_constant_s is None
    np.testing.assert_array_equal(scan.directions, np.where(untimed["direction"] == "up", 1.0, -1.0))
    assert np.abs(scan.expected_mw - untimed["optical_power_mw"]).max() < 0.03


@pytest.mark.parametrize("words", [("up", "down"), (1, -1), ("+1", "-1"), ("", "")])
def test_directions_by_word_by_sign_or_by_the_order_of_rows(words):
    tables = [t.assign(direction=w) for t, w in zip(scan_of(), words, strict=True)]
    assert fit_scan(tables).lag_mhz.n == pytest.approx(0.0458, rel=0.05)
    assert fit_scan([t.drop(columns=["direction", "time_s"]) for t in tables]).lag_mhz.n == pytest.approx(
        0.0458, rel=0.05
    )


def test_a_clock_coarser_than_the_steps_is_spread_evenly():
    tables = [t.assign(time_s=np.floor(t["time_s"])) for t in scan_of()]
    assert fit_scan(tables).time_constant_s.n == pytest.approx(0.9, rel=0.05)


def test_the_time_base_is_shared_by_two_scans():
    cause = new_cause("counter time base", 20e-6)
    common = (CommonError("counter time base", "frequency_mhz", "relative", cause),)
    first, second = (
        fit_scan([Readings(t, common) for t in scan_of(seed=s, truth=Truth(c, 0.31, 0.06, 0.6, "tanh D"))])
        for s, c in ((1, 64.2), (2, 74.2))
    )
    assert first.centre_mhz.s == pytest.approx(64.2 * 20e-6, rel=0.2)
    difference = second.centre_mhz - first.centre_mhz
    assert difference.s < 0.001, "the time base acts on the 10 MHz between them, not on each"
    assert first.fit.budget(first.centre_mhz)["counter time base"] > 0.8
    assert first.power(64.2).s == pytest.approx(0.0015, rel=0.6)


def test_the_meters_gain_is_in_the_power_and_its_zero_in_the_floor():
    gain = CommonError("power meter gain", "optical_power_mw", "relative", new_cause("power meter gain", 0.05))
    zero = CommonError("power meter zero", "optical_power_mw", "offset", new_cause("power meter zero", 0.01))
    scan = fit_scan([Readings(t, (gain, zero)) for t in scan_of()])
    assert scan.peak_power_mw.s == pytest.approx(0.05, rel=0.02)
    assert scan.floor_mw.s == pytest.approx(0.01, rel=0.02)
    assert scan.centre_mhz.s < 0.001


def test_power_at_a_frequency(scan):
    peak = scan.power(scan.centre_mhz)
    assert peak.n == pytest.approx(scan.peak_power_mw.n + scan.floor_mw.n, rel=1e-6)
    grid = np.array([64.1, 64.2, 64.3])
    values = scan.power(grid)
    assert values.shape == (3,)
    np.testing.assert_allclose([v.n for v in values], TRUTH.light(grid) + 0.0023, atol=0.006)
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range; found 66 MHz"):
        scan.power(66.0)


def test_sidelobes_beside_theory():
    truth = Truth(64.2, 0.26, 0.0, 1.0, "tanh D")
    left, right = fit_scan(scan_of(truth=truth), drive_ratio=1.0).sidelobes
    assert (left.side, right.side) == ("left", "right")
    for sidelobe in (left, right):
        assert sidelobe.theory_db == pytest.approx(float(sidelobe_level_db(1.0)))
        assert off(sidelobe.level_db, sidelobe.theory_db) < 3.5
        assert sidelobe.level_db.s < 0.2
        assert "coupled waves -9.3 dB" in str(sidelobe)


def test_a_sidelobe_that_drowns_in_the_scatter_has_a_bound_only():
    truth = Truth(64.2, 0.26, 0.0, 0.05, "tanh D")
    scan = fit_scan(scan_of(Scenario("noisy", noise=60.0), truth=truth))
    drowned = [s for s in scan.sidelobes if s.level_db is None]
    assert all("below" in str(s) for s in drowned)
    assert all(s.relative.s > 0.2 for s in scan.sidelobes)


def test_a_drive_with_uncertainty_is_a_cause_of_its_own():
    scan = fit_scan(scan_of(), drive_ratio=ufloat(0.6, 0.2, tag="drive by the scope"))
    assert "drive by the scope" in scan.fit.budget(scan.drive_ratio)
    told = fit_scan(scan_of(), drive_ratio=0.6)
    assert (told.drive_ratio.n, told.drive_ratio.s) == (0.6, 0.0)


def test_light_that_was_logged_is_divided_out():
    scenario = Scenario("wander", wander=0.05, memory_s=20.0, referenced=True)
    tables = scan_of(scenario, 7)
    logged = fit_scan(tables)
    unlogged = fit_scan([t.drop(columns="incident_power_mw") for t in tables])
    assert off(logged.centre_mhz, 64.2) < 3.5
    assert logged.centre_mhz.s < 0.4 * unlogged.centre_mhz.s
    assert off(unlogged.centre_mhz, 64.2) < 3.5


def test_scatter_not_stated_is_estimated_and_said():
    scan = fit_scan(scan_of(Scenario("not told", u_told=False)))
    assert not scan.fit.u_known
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert scan.fit.coverage_factor() > 1.99
    assert "stated uncertainty" in {c.name for c in scan.fit.failed}
    partly = [t.assign(u_optical_power_mw=np.nan) for t in scan_of()]
    assert not fit_scan(partly).fit.u_known


def test_scatter_of_the_frequency_widens_the_centre():
    sure, unsure = (fit_scan(scan_of(Scenario("", jitter_mhz=j))) for j in (0.0, 0.01))
    assert unsure.centre_mhz.s > 4 * sure.centre_mhz.s
    assert off(unsure.centre_mhz, 64.2) < 3.5


def test_weak_drive_may_come_out_on_either_side_of_zero():
    scan = fit_scan(scan_of(truth=Truth(64.2, 0.31, 0.0, 1e-3, "tanh D")))
    assert abs(scan.drive_ratio.n) < 4 * scan.drive_ratio.s
    assert "limits" not in {c.name for c in scan.fit.failed}


def test_text_html_and_plot(scan):
    text = str(scan)
    assert text.startswith("Scan of line D: 62 readings, up and down\n  centre         64.")
    assert "kHz each way, time constant 0." in text
    assert "FAILED" not in text
    one_way = fit_scan(scan_of()[0])
    assert "<li>FAILED lag: measured one way only" in one_way._repr_html_()
    assert "<caption>Scan of line D: 62 readings, up and down</caption>" in scan._repr_html_()
    axes = scan.plot()
    assert {t.get_text() for t in axes.get_legend().get_texts()} == {
        "readings, up", "readings, down", "fit, settled", "fit, up", "fit, down", "centre",
    }  # fmt: skip
    assert scan.plot(axes) is axes


def test_the_demo_scans_hold_the_truth(demo: aotf_lab.Session):
    for name, scan in demo.scans.items():
        assert off(scan.centre_mhz, float(true_peak_frequency(SKERRY.line(name).wavelength_air_nm))) < 3.5
        assert scan.fit.trusted, [str(c) for c in scan.fit.failed]
