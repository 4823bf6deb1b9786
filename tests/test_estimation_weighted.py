"""The weighted fit: correlations kept, causes named, uncertainties neither shrunk nor invented."""

import numpy as np
import pytest
from scipy import stats
from uncertainties import covariance_matrix, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import FittedFunction, Parameter, new_cause, variance_shares, weighted_fit
from aotf_lab.estimation.checks import chi2_limit

X = np.linspace(0.0, 4.0, 9)


def line(x, a, b):
    return a + b * x


def scaled_line(x, a, b, gain):
    return (a + b * x) * (1 + gain)


def fit_line(y, u_y, **options):
    return weighted_fit(line, [Parameter("a", 0.0), Parameter("b", 1.0)], X, y, u_y, **options)


def with_gain(y, u_y, gain):
    parameters = [Parameter("a", 0.0), Parameter("b", 1.0), Parameter("gain", 0.0, prior=gain)]
    return weighted_fit(scaled_line, parameters, X, y, u_y, scatter="the readings of this line")


def test_difference_of_two_fits_that_share_a_gain_has_the_simulated_scatter():
    # The estimator of the simulation is numpy's least squares, of which the fits know nothing.
    truths, u, u_gain = ((10.0, 2.0), (12.0, 1.5)), 0.05, 0.01
    gain = new_cause("gain", u_gain)
    fits = [with_gain(line(X, *truth), u, gain) for truth in truths]
    ends = [fit.parameters["a"] + 4.0 * fit.parameters["b"] for fit in fits]
    rng = np.random.default_rng(1)
    design = np.stack([np.ones_like(X), X], axis=1)
    true_gain = 1 + u_gain * rng.normal(size=4000)
    drawn = []
    for truth in truths:
        readings = np.outer(true_gain, line(X, *truth)) + u * rng.normal(size=(4000, 9))
        drawn.append(np.linalg.lstsq(design, readings.T, rcond=None)[0].T @ [1.0, 4.0])
    for end, simulated in zip(ends, drawn, strict=True):
        assert end.s == pytest.approx(np.std(simulated), rel=0.05)
    assert (ends[0] - ends[1]).s == pytest.approx(np.std(drawn[0] - drawn[1]), rel=0.05)
    assert (ends[0] - ends[1]).s < 0.4 * np.hypot(ends[0].s, ends[1].s)


def test_difference_of_two_results_of_one_fit_has_the_simulated_scatter():
    def efficiency(p, saturation, peak):
        return peak * np.sin(np.pi / 2 * np.sqrt(p / saturation)) ** 2

    power, truth, u = np.linspace(0.05, 0.55, 9), (0.42, 0.88), 0.01
    start = [Parameter("saturation", 0.5, low=0.05), Parameter("peak", 0.8, low=0.0)]

    def difference(y):
        curve = FittedFunction(weighted_fit(efficiency, start, power, y, u), efficiency)
        return curve(0.5) - curve(0.2)

    rng = np.random.default_rng(2)
    clean = efficiency(power, *truth)
    drawn = [difference(clean + u * rng.normal(size=9)).n for _ in range(800)]
    assert difference(clean).s == pytest.approx(np.std(drawn), rel=0.1)


def test_parameters_carry_the_covariance_of_the_fit():
    fit = with_gain(line(X, 10.0, 2.0), 0.05, new_cause("gain", 0.01))
    np.testing.assert_allclose(covariance_matrix(list(fit.parameters.values())), fit.covariance, rtol=1e-9, atol=1e-18)


def test_budget_names_each_cause_and_adds_up():
    fit = with_gain(line(X, 10.0, 2.0), 0.05, new_cause("gain", 0.01))
    shares = fit.budget(fit.parameters["a"])
    assert sum(shares.values()) == pytest.approx(1.0)
    assert set(shares) == {"gain", "scatter of the readings of this line"}
    # a = 10 with a gain of 1 %: 0.1 of it; the scatter of a straight line's intercept as in every textbook.
    scatter = 0.05 * np.sqrt(1 / 9 + X.mean() ** 2 / np.sum((X - X.mean()) ** 2))
    assert shares["gain"] == pytest.approx(0.1**2 / (0.1**2 + scatter**2), rel=1e-6)


def test_correlated_priors_are_one_observation():
    # Reference: generalised least squares with the full covariance of the priors, by matrix algebra.
    first = new_cause("first", 0.3)
    second = 0.8 * first + new_cause("second", 0.2)
    y = 1.0 + 2.0 * X
    fit = weighted_fit(line, [Parameter("a", 0.0, prior=first), Parameter("b", 0.0, prior=second)], X, y, 1.5)
    design = np.stack([np.ones_like(X), X], axis=1)
    known = np.linalg.inv([[0.09, 0.072], [0.072, 0.0976]])
    precision = design.T @ design / 1.5**2 + known
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(precision), rtol=1e-8)
    np.testing.assert_allclose(fit.values, np.linalg.solve(precision, design.T @ y / 1.5**2), rtol=1e-8)
    np.testing.assert_allclose(covariance_matrix(list(fit.parameters.values())), fit.covariance, rtol=1e-8)


def test_prior_without_uncertainty_holds_the_parameter():
    y = 1.0 + 2.0 * X
    held = weighted_fit(line, [Parameter("a", 5.0, prior=new_cause("exact", 0.0, 1.0)), Parameter("b", 0.0)], X, y, 0.1)
    assert held.parameters["a"].n == 1.0
    assert held.parameters["a"].s == 0.0
    assert held.parameters["b"].n == pytest.approx(2.0)
    assert held.parameters["b"].s == pytest.approx(0.1 / np.sqrt(np.sum(X**2)))


def test_one_error_as_two_priors_is_refused():
    gain = new_cause("gain", 0.01)
    parameters = [Parameter("a", 0.0, prior=gain), Parameter("b", 0.0, prior=2 * gain)]
    with pytest.raises(AotfLabError, match="priors that are not independent; found 'a, b'; allowed: one parameter"):
        weighted_fit(line, parameters, X, X, 0.1)


def test_prior_that_the_readings_contradict_fails_its_check():
    parameters = [Parameter("a", 0.0, prior=ufloat(0.0, 0.1)), Parameter("b", 1.0)]
    good = weighted_fit(line, parameters, X, 0.1 + 2 * X, 0.01)
    bad = weighted_fit(line, parameters, X, 0.9 + 2 * X, 0.01)
    assert good.trusted
    check = next(c for c in bad.checks if c.name == "prior on a")
    assert not check.passed
    assert "known before as 0 +- 0.1: 9.0 standard uncertainties apart, limit 3.1" in check.detail


def test_prior_pull_is_judged_by_what_the_readings_can_tell():
    # prior 0 +- 1 against 4 +- 1 from one reading: 4 / sqrt(2) = 2.8, inside; the fitted 2 alone would look tame.
    fit = weighted_fit(lambda x, a: a + 0 * x, [Parameter("a", 0.0, prior=ufloat(0.0, 1.0))], np.zeros(1), [4.0], 1.0)
    assert fit.values[0] == pytest.approx(2.0)
    assert "2.8 standard uncertainties apart" in next(c for c in fit.checks if c.name == "prior on a").detail


def scattered(factor):
    rng = np.random.default_rng(5)
    noise = rng.normal(size=9)
    noise -= line(X, *np.polyfit(X, noise, 1)[::-1])
    return 1.0 + 2.0 * X + 0.1 * factor * noise * np.sqrt(7 / np.sum(noise**2))


def test_uncertainties_are_scaled_up_and_never_down():
    stated = 0.1 * np.sqrt(np.linalg.inv([[9, X.sum()], [X.sum(), np.sum(X**2)]])[0, 0])
    calm, true, wild = (fit_line(scattered(f), 0.1) for f in (0.2, 1.0, 3.0))
    assert [f.parameters["a"].s for f in (calm, true)] == pytest.approx([stated, stated])
    assert wild.birge == pytest.approx(3.0)
    assert wild.parameters["a"].s == pytest.approx(3.0 * stated)
    assert not wild.trusted
    (check,) = [c for c in wild.failed if c.name == "scatter"]
    assert "chi2 = 63.0 on 7 degrees of freedom" in check.detail
    assert "scatter 3.00 times more than their stated uncertainties" in check.detail


def test_scaling_leaves_what_was_known_before_alone():
    gain = new_cause("gain", 0.01)
    calm, wild = with_gain(scattered(1.0), 0.1, gain), with_gain(scattered(3.0), 0.1, gain)
    for fit in (calm, wild):
        from_gain = fit.parameters["b"].derivatives[gain] * gain.s
        assert abs(from_gain) == pytest.approx(0.02, rel=1e-6)


def test_coverage_factor_is_normal_until_the_scatter_had_a_say():
    # GUM G.3: Student t with the degrees of freedom of the fit.
    known, scaled, unknown = (
        fit_line(scattered(1.0), 0.1),
        fit_line(scattered(3.0), 0.1),
        fit_line(scattered(1.0), None),
    )
    assert known.coverage_factor(0.95) == pytest.approx(stats.norm.ppf(0.975))
    for fit in (scaled, unknown):
        assert fit.coverage_factor(0.95) == pytest.approx(stats.t.ppf(0.975, 7))
    low, high = unknown.interval(unknown.parameters["a"], 0.9)
    half = stats.t.ppf(0.95, 7) * unknown.parameters["a"].s
    assert (low, high) == pytest.approx((unknown.values[0] - half, unknown.values[0] + half))
    with pytest.raises(AotfLabError, match="coverage probability; found 95; allowed: between 0 and 1"):
        known.coverage_factor(95)


def test_unknown_noise_is_what_the_scatter_says_and_the_check_says_so():
    fit = fit_line(scattered(1.0), None, scatter="the sweep")
    assert fit.noise == pytest.approx(0.1)
    assert fit.chi2 == pytest.approx(fit.dof)
    assert not fit.trusted
    assert "no uncertainty was stated for the sweep: 0.1 was estimated from 7" in fit.failed[0].detail


def test_unknown_noise_beside_a_known_error_in_x():
    # u_x = 0.03 on a slope of 2 makes 0.06; what is left of a scatter of 0.1 is sqrt(0.1^2 - 0.06^2) = 0.08.
    fit = fit_line(scattered(1.0), None, u_x=0.03)
    assert fit.noise == pytest.approx(0.08, rel=0.01)
    assert fit.chi2 == pytest.approx(fit.dof, rel=1e-4)


def test_unknown_noise_does_not_depend_on_the_unit():
    gain = new_cause("gain", 0.01)
    volts = with_gain(scattered(1.0), None, gain)
    microvolts = with_gain(scattered(1.0) * 1e6, None, gain)
    assert microvolts.noise == pytest.approx(volts.noise * 1e6, rel=1e-6)
    assert microvolts.parameters["b"].s == pytest.approx(volts.parameters["b"].s * 1e6, rel=1e-6)


def test_readings_without_any_scatter_get_the_noise_of_rounding():
    fit = fit_line(1.0 + 2.0 * X, None)
    assert fit.values == pytest.approx([1.0, 2.0])
    assert 0 < fit.noise < 1e-8


def test_three_priors_and_one_reading_are_enough():
    fit = weighted_fit(
        line, [Parameter("a", 0.0, prior=ufloat(1.0, 0.1)), Parameter("b", 0.0, prior=ufloat(2.0, 0.2))],
        np.array([1.0]), [3.2], 0.1,
    )  # fmt: skip
    # One reading off by 0.2 from the prior's 3 +- sqrt(0.1^2 + 0.2^2): a moves by 0.2 * 0.01 / 0.06.
    assert fit.values == pytest.approx([1.0 + 0.2 / 6, 2.0 + 0.2 * 4 / 6])
    assert 0 < fit.dof < 1


def test_pattern_is_seen_when_no_uncertainty_is_stated():
    x = np.linspace(0.0, 4.0, 21)
    parameters = [Parameter("a", 0.0), Parameter("b", 1.0)]
    fit = weighted_fit(line, parameters, x[::-1], x[::-1] ** 2, None)
    (check,) = [c for c in fit.failed if c.name == "pattern"]
    assert "the curve does not follow the readings" in check.detail
    assert "pattern" not in {c.name for c in weighted_fit(line, parameters, x, x**2, 1.0).checks}


def test_outlier_is_named_with_its_place():
    y = scattered(1.0)
    y[6] += 1.2
    fit = fit_line(y, 0.1, places=[f"tune.csv:{k + 2}" for k in range(9)])
    (check,) = [c for c in fit.failed if c.name == "single readings"]
    assert "at tune.csv:8, limit" in check.detail
    assert fit.chi2 > chi2_limit(7)


def test_problem_is_shown_to_be_hardly_determined():
    fit = weighted_fit(
        lambda x, a, b, c: a + b * x + c * x**2, [Parameter(n, 1.0) for n in "abc"], 1e3 + X, 1e3 + X, 0.1
    )
    (check,) = [c for c in fit.failed if c.name == "conditioning"]
    assert "a, b, c can hardly be told apart: condition number" in check.detail
    assert "measure over a wider range" in check.detail


def test_every_variable_of_a_result_is_named():
    fit = with_gain(line(X, 10.0, 2.0), None, new_cause("gain", 0.01))
    assert "other" not in variance_shares(sum(fit.parameters.values()))
