"""The tuning curve: both directions, correlations, shared errors, ranges, bands and words."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.crystal import fit_tuning
from aotf_lab.errors import MaterialError, OutOfRangeError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.readings import Readings
from tests.crystal_tuning_lines import skerry_lines, true_mhz

GRID = np.linspace(450.0, 725.0, 12)


@pytest.fixture(scope="module")
def exact():
    return fit_tuning(skerry_lines())


@pytest.fixture(scope="module")
def noisy():
    return fit_tuning(skerry_lines(seed=4))


@pytest.fixture(scope="module")
def with_time_base():
    time_base = new_cause("counter time base", 20e-6)
    return fit_tuning(Readings(skerry_lines(), (CommonError(time_base.tag, "frequency_mhz", "relative", time_base),)))


def test_error_free_lines_give_the_exact_curve_to_five_kilohertz(exact):
    inside = GRID[(GRID > 473) & (GRID < 672)]
    assert np.abs([f.n for f in exact.frequency(inside)] - true_mhz(inside)).max() < 0.005


def test_error_free_lines_find_an_unknown_laser_beyond_the_anchors(exact):
    found = exact.wavelength(float(true_mhz(449.73)))
    assert abs(found.n - 449.73) < 0.03
    assert 0.05 < found.s < 0.2


def test_interval_holds_the_truth_at_a_line_of_which_only_the_label_is_known(noisy):
    low, high = noisy.fit.interval(noisy.wavelength(float(true_mhz(518.04))))
    assert low < 518.04 < high


def test_there_and_back_is_the_same_number_without_uncertainty(noisy):
    back = noisy.wavelength(noisy.frequency(GRID))
    assert [b.n for b in back] == pytest.approx(GRID, abs=1e-7)
    assert max(b.s for b in back) < 1e-5


def test_back_and_there_keeps_the_uncertainty_of_the_argument_only(noisy):
    peak = ufloat(64.2, 0.01, tag="scan")
    again = noisy.frequency(noisy.wavelength(peak))
    assert again.n == pytest.approx(64.2, abs=1e-9)
    assert again.s == pytest.approx(0.01, rel=1e-5)
    assert (again - peak).s < 1e-6


def test_difference_of_neighbours_is_surer_than_either(noisy):
    a, b = noisy.frequency(600.0), noisy.frequency(601.0)
    assert (a - b).s < 0.1 * min(a.s, b.s)


def test_uncertainty_is_that_of_draws_from_the_covariance(noisy):
    # outside: Monte Carlo of the parameters (GUM Supplement 1), the law evaluated by itself
    draws = np.random.default_rng(1).multivariate_normal(noisy.fit.values, noisy.fit.covariance, 4000)
    values = np.array([noisy.law(np.array([500.0, 650.0]), *draw) for draw in draws])
    answers = noisy.frequency([500.0, 650.0])
    assert [f.s for f in answers] == pytest.approx(values.std(axis=0), rel=0.04)
    assert (answers[0] - answers[1]).s == pytest.approx((values[:, 0] - values[:, 1]).std(), rel=0.04)


def test_time_base_is_in_every_answer_and_cancels_in_a_ratio(with_time_base):
    budget = with_time_base.fit.budget
    f = with_time_base.frequency(600.0)
    u = dict(zip(budget(f), np.sqrt(list(budget(f).values())) * f.s, strict=True))
    assert u["counter time base"] == pytest.approx(20e-6 * f.n, rel=1e-6)
    assert budget(f / with_time_base.frequency(500.0))["counter time base"] < 1e-9


def test_peak_by_the_same_counter_finds_its_line_without_the_time_base(with_time_base):
    shared = with_time_base.readings.common[0]
    peak = shared.applied_to(ufloat(64.2, 0.001, tag="scan"))
    assert with_time_base.fit.budget(with_time_base.wavelength(peak)).get("counter time base", 0.0) < 1e-9
    assert with_time_base.fit.budget(with_time_base.wavelength(64.2))["counter time base"] > 1e-5


def test_offset_that_all_wavelengths_share_moves_the_answer_one_to_one():
    offset = new_cause("wavemeter", 0.05)
    common = (CommonError("wavemeter", "wavelength_nm", "offset", offset),)
    tuning = fit_tuning(Readings(skerry_lines(), common))
    parts = tuning.wavelength(64.2).error_components()
    assert parts[offset] == pytest.approx(0.05, rel=1e-9)
    assert tuning.frequency(air_to_vacuum(588.96)).error_components()[offset] == pytest.approx(0.0069, rel=0.05)


def test_velocity_birefringence_is_frequency_times_wavelength(noisy):
    for nm, vb in zip(GRID, noisy.velocity_birefringence(GRID), strict=True):
        assert (vb - noisy.frequency(nm) * nm * 1e-3).n == pytest.approx(0.0, abs=1e-12)
    assert noisy.velocity_birefringence(589.12).n == pytest.approx(1e-3 * 589.12 * true_mhz(589.12), rel=1e-3)


def test_birefringence_shows_the_share_of_the_velocity(noisy):
    v = ufloat(643.4, 5.0)
    b = noisy.effective_birefringence(v)
    assert noisy.fit.budget(b)["acoustic velocity"] > 0.9
    assert b.s / b.n == pytest.approx(5.0 / 643.4, rel=0.05)
    assert (noisy.effective_birefringence(v, 500.0) / b).s < 0.001
    assert noisy.effective_birefringence(643.4, [500.0, 600.0])[0].s < 0.1 * b.s


def test_arrays_give_object_arrays_and_scalars_numbers(noisy):
    assert noisy.frequency([500.0, 600.0]).shape == (2,)
    assert noisy.frequency(500.0).n == noisy.frequency([500.0])[0].n


def test_answers_end_a_fifth_of_the_span_beyond_the_outer_lines(exact):
    short, long = exact.anchored_nm
    low, high = exact.range_nm
    assert (1 / low - 1 / short) / (1 / short - 1 / long) == pytest.approx(0.2)
    assert (1 / long - 1 / high) / (1 / short - 1 / long) == pytest.approx(0.2)
    assert exact.range_mhz == pytest.approx([f.n for f in exact.frequency([high, low])])


def test_outside_the_range_there_is_no_answer(exact):
    with pytest.raises(OutOfRangeError, match=r"wavelength lies outside .* found 440 nm; allowed: '?446\.\d* to 732"):
        exact.frequency([500.0, 440.0])
    says = r"frequency lies outside .* found 95 MHz; .* ask at 94\.\d* MHz at the most"
    with pytest.raises(OutOfRangeError, match=says):
        exact.wavelength(95.0)


def test_uncertainty_grows_beyond_the_anchors(exact):
    short, long = exact.anchored_nm
    inside, outside = exact.frequency([short, long]), exact.frequency(exact.range_nm)
    assert all(o.s > 1.5 * i.s for o, i in zip(outside, inside, strict=True))


def test_bands(noisy):
    low, high = noisy.band(GRID)
    wide_low, wide_high = noisy.band(GRID, kind="prediction")
    assert np.all((wide_low < low) & (wide_high > high))
    f = noisy.frequency(GRID)
    assert high - low == pytest.approx([2 * stats.norm.ppf(0.975) * v.s for v in f])
    narrow = noisy.band(GRID, confidence=0.5)
    assert np.all(narrow[1] - narrow[0] < high - low)


def test_residuals_are_those_of_the_fit(noisy):
    assert noisy.residuals_mhz / noisy.u_residuals_mhz == pytest.approx(noisy.fit.residuals)


def test_scatter_beyond_the_stated_uncertainties_widens_and_says_so():
    table = skerry_lines(seed=4)
    table["frequency_mhz"] += [0.2, -0.2, 0.2, -0.2]
    tuning = fit_tuning(table)
    assert tuning.fit.birge > 3
    assert [c.name for c in tuning.fit.failed] == ["line labels"]
    scatter = next(c for c in tuning.fit.checks if c.name == "scatter")
    assert scatter.detail.startswith("explained by 'line labels', which names one line: chi2 = ")
    assert tuning.frequency(600.0).s > 3 * fit_tuning(skerry_lines(seed=4)).frequency(600.0).s


def test_unknown_crystal():
    with pytest.raises(MaterialError, match=r"no packaged refractive indices .* found 'glass'; allowed: TeO2"):
        fit_tuning(skerry_lines(), material="glass")


def test_text_states_what_matters(noisy):
    text = str(noisy)
    assert "Tuning of TeO2 from 4 lines, 473." in text
    assert "m/s at 565 nm" in text or "m/s at 564 nm" in text
    assert "FAILED" not in text
    assert "<script" not in noisy._repr_html_()


def test_failed_checks_stand_in_text_and_html():
    tuning = fit_tuning(skerry_lines().iloc[:2])
    assert "FAILED line labels: cannot be checked: 2 lines" in str(tuning)
    assert "FAILED line labels: cannot be checked: 2 lines" in tuning._repr_html_()


def test_plot_draws_the_curve_and_returns_the_axes(noisy):
    from aotf_lab.drawing import new_figure

    ax = new_figure()[1][0]
    assert noisy.plot(ax) is ax
    assert ax.get_xlabel() == "Wavelength in vacuum λ (nm)"
    assert {t.get_text() for t in ax.texts} == {"B", "D", "E", "G"}


@pytest.mark.parametrize("seed", range(5))
def test_same_curve_as_orthogonal_distance_regression(seed):
    # outside: ODRPACK95 by odrpack (errors in both variables); the weak priors enter as two more rows
    odrpack = pytest.importorskip("odrpack")
    table = skerry_lines(seed=seed)
    tuning = fit_tuning(table)
    law, priors = tuning.law, np.array([0.10, 0.05])

    def rows(x, beta):
        return np.concatenate([law(x[:-2], *beta), beta[1:]])

    found = odrpack.odr_fit(
        rows,
        np.concatenate([table["wavelength_nm"], [1.0, 1.0]]),
        np.concatenate([table["frequency_mhz"], [0.0, 0.0]]),
        np.array([tuning.fit.values[0], 0.0, 0.0]),
        weight_x=np.concatenate([table["u_wavelength_nm"], [1.0, 1.0]]) ** -2.0,
        weight_y=np.concatenate([table["u_frequency_mhz"], priors]) ** -2.0,
        fix_x=np.array([False] * 4 + [True] * 2),
        diff_scheme="central",
    )
    ours = tuning.frequency(GRID)
    gap = law(GRID, *found.beta) - np.array([f.n for f in ours])
    assert np.abs(gap / np.array([f.s for f in ours])).max() < 0.01
    assert np.sqrt(np.diag(tuning.fit.covariance)) == pytest.approx(np.sqrt(np.diag(found.cov_beta)), rel=0.01)
