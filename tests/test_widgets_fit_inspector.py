"""Looking into a fit: what leaving a reading out moves, against independent refits; files stay untouched."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest
from scipy.optimize import minimize

from aotf_lab.driver import fit_vco
from aotf_lab.errors import AotfLabError
from aotf_lab.physics.indices import birefringence
from aotf_lab.widgets.fit_inspector import FitPanel, fit_state, with_left_out
from aotf_lab.widgets.inspected import inspected_fits, without
from tests.conftest import DEMO


@pytest.fixture(scope="module")
def fits(demo):
    return inspected_fits(demo)


@pytest.fixture
def panel(demo):
    return FitPanel(demo)


def test_every_fit_of_the_session_is_there(fits):
    assert list(fits)[:2] == ["oscillator", "tuning curve"]
    assert {f"scan of line {n}" for n in "ABCDEFG"} <= set(fits)


@pytest.mark.parametrize("name", ["oscillator", "tuning curve", "scan of line E"])
def test_with_nothing_left_out_nothing_moves(fits, name):
    state = fit_state(fits[name], {})
    assert state.without is state.whole
    assert np.nanmax(np.abs(state.moved)) == 0.0
    assert all(m.after.n == m.before.n for m in state.numbers)


def test_the_curve_without_a_line_is_that_of_an_independent_fit(fits):
    """Effective variance with weak priors, minimised by scipy: York et al., Am. J. Phys. 72, 367 (2004)."""
    fit = fits["tuning curve"]
    out = 2
    state = fit_state(fit, {out: "test"})
    keep = [k for k in range(4) if k != out]
    table = fit.readings.table
    nm, mhz = table["wavelength_nm"].to_numpy(float), table["frequency_mhz"].to_numpy(float)
    u_nm, u_mhz = table["u_wavelength_nm"].to_numpy(float), table["u_frequency_mhz"].to_numpy(float)
    reference = state.without.law.reference_nm

    def law(x, p):
        away = reference / x - 1
        return 1e3 * p[0] * (1 + p[1] * away + p[2] * away**2) * birefringence(x, "TeO2") / x

    def chi2(p):
        slope = (law(nm + 0.01, p) - law(nm - 0.01, p)) / 0.02
        variance = u_mhz**2 + (slope * u_nm) ** 2
        return float(np.sum(((mhz - law(nm, p)) ** 2 / variance)[keep]) + (p[1] / 0.10) ** 2 + (p[2] / 0.05) ** 2)

    start = np.array([state.whole.fit.values[0], 0.0, 0.0])
    best = minimize(chi2, start, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-10, "maxiter": 20000})
    assert state.without.fit.chi2 + sum(v**2 for v in best.x[1:] / [0.10, 0.05]) == pytest.approx(best.fun, abs=1e-3)
    assert state.gap[out] == pytest.approx(mhz[out] - float(law(nm[out : out + 1], best.x)[0]), abs=2e-4)


def test_the_curve_moves_away_from_a_reading_left_out(fits):
    fit = fits["oscillator"]
    worst = fit_state(fit, {}).worst
    state = fit_state(fit, {worst: "test"})
    before = fit_state(fit, {}).gap[worst]
    assert abs(state.gap[worst]) > abs(before)
    assert np.sign(state.gap[worst]) == np.sign(before)
    direct = fit_vco(without(fit.readings, [worst]))
    assert state.without.frequency(7.0).n == direct.frequency(7.0).n


def test_a_spoilt_reading_is_the_worst_and_leaving_it_out_mends_the_fit(demo, fits):
    from dataclasses import replace

    fit = fits["oscillator"]
    table = fit.readings.table.copy()
    table.loc[10, "frequency_mhz"] += 0.2
    spoilt = replace(fit, readings=replace(fit.readings, table=table))
    state = fit_state(spoilt, {})
    assert state.worst == 10
    mended = fit_state(spoilt, {10: "misread"})
    assert mended.gap[10] == pytest.approx(0.2, abs=0.03)
    assert spoilt.fit(state.whole).failed
    assert not spoilt.fit(mended.without).failed
    assert "scatter" in dict(mended.rows())["checks failed"].split(" -> ")[0]


def test_the_band_is_that_of_draws_of_the_parameters(fits):
    """Monte Carlo through the law (JCGM 101:2008, 7); the standard deviation of 4,000 draws is good to 1.1 %."""
    state = fit_state(fits["scan of line G"], {3: "test"})
    fit, model = state.without.fit, state.without.solution.model
    draws = np.random.default_rng(5).multivariate_normal(fit.values, fit.covariance, 4000)
    places = np.arange(20, 240, 25)
    drawn = np.array([model.settled(state.grid[places], *values) for values in draws]).std(axis=0)
    assert state.half_band[places] / fit.coverage_factor() == pytest.approx(drawn, rel=0.08)


def test_readings_left_out_keep_the_others_in_their_place(fits):
    readings = fits["oscillator"].readings
    left = without(readings, [0, 5])
    kept = [p for k, p in enumerate(readings.places) if k not in (0, 5)]
    assert list(left.places) == kept
    assert len(readings.table) == len(left.table) + 2


def test_no_reading_goes_without_a_reason(fits):
    fit = fits["oscillator"]
    with pytest.raises(AotfLabError, match=r"vco_warm.csv:\d+: a reading is not left out without a reason; found none"):
        with_left_out(fit, {}, 3, "   ")
    with pytest.raises(AotfLabError, match=r"no such reading; found 99; allowed: 0 to \d+"):
        with_left_out(fit, {}, 99, "why")
    assert with_left_out(fit, {1: "a"}, 3, " b ") == {1: "a", 3: "b"}


def test_leaving_out_asks_for_the_reason_first(panel):
    panel.leave_out.click()
    assert "not left out without a reason" in panel.said.value
    assert panel.left_out["oscillator"] == {}
    assert panel.now is not None
    panel.reason.value = "leaned on the bench"
    panel.leave_out.click()
    assert panel.left_out["oscillator"] == {0: "leaned on the bench"}
    assert panel.reason.value == ""
    assert "leaned on the bench" in panel.numbers.value
    assert "the raw file is not changed" in panel.numbers.value
    assert panel.problems == []


def test_what_was_left_out_can_be_put_back(panel):
    pictures, numbers = [], panel.numbers.value
    for _ in range(2):  # the axes grow with the first need, and stay
        panel.reason.value = "test"
        panel.leave_out.click()
        out = panel.image.value
        panel.put_back.click()
        assert panel.numbers.value == numbers
        pictures.append(panel.image.value)
        assert out != pictures[-1]
    assert pictures[0] == pictures[1]


def test_a_fit_that_the_rest_cannot_carry_is_refused(panel):
    panel.name.value = "tuning curve"
    for k in (0, 1, 2):
        panel.point.value = k
        panel.reason.value = "test"
        panel.leave_out.click()
    assert set(panel.left_out["tuning curve"]) == {0, 1}
    assert "one line alone makes no tuning curve" in panel.said.value
    assert panel.now is not None
    assert panel.problems == []


def test_fits_keep_their_own_lists(panel):
    panel.reason.value = "test"
    panel.leave_out.click()
    panel.name.value = "scan of line D"
    assert panel.now.left_out == {}
    assert len(panel.point.options) == len(panel.now.fit.y)
    panel.to_worst.click()
    assert panel.point.value == panel.now.worst == panel.now.chosen
    panel.name.value = "oscillator"
    assert panel.now.left_out == {0: "test"}


def test_the_account_is_for_the_lab_book(fits):
    state = fit_state(fits["oscillator"], {4: "door slammed"})
    place = fits["oscillator"].readings.place(4)
    assert state.account[0].startswith(f"{place}: door slammed (")
    assert state.account[0].endswith(" u from the others)")


def test_no_raw_file_is_changed(demo):
    before = {p.name: (hashlib.sha256(p.read_bytes()).hexdigest(), p.stat().st_mtime_ns) for p in DEMO.iterdir()}
    panel = FitPanel(demo)
    for name in panel.fits:
        panel.name.value = name
        panel.reason.value = "test"
        panel.leave_out.click()
    assert all(panel.left_out.values())
    assert before == {
        p.name: (hashlib.sha256(p.read_bytes()).hexdigest(), p.stat().st_mtime_ns) for p in DEMO.iterdir()
    }
