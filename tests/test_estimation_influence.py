"""Leaving one reading out, against the closed form for linear fits."""

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.estimation import Parameter, Problem, fit_problem, leave_one_out

X = np.array([0.0, 0.4, 1.1, 1.5, 2.3, 3.0, 3.6, 4.0])
U = np.array([0.1, 0.2, 0.1, 0.1, 0.3, 0.1, 0.1, 0.2])


def line(x, a, b):
    return a + b * x


def problem_of(y, u_y, **options):
    return Problem(line, (Parameter("a", 0.0), Parameter("b", 1.0)), X, y, u_y, **options)


def noisy(factor=1.0):
    return 1 + 2 * X + factor * U * np.random.default_rng(12).normal(size=8)


def test_left_out_gaps_are_those_of_the_closed_form():
    # Deleted residuals e / (1 - h) and their variance u^2 / (1 - h): Cook & Weisberg, Residuals and Influence (1982).
    y = noisy()
    design = np.stack([np.ones(8), X], axis=1) / U[:, None]
    hat = np.diag(design @ np.linalg.inv(design.T @ design) @ design.T)
    residual = y - line(X, *np.linalg.lstsq(design, y / U, rcond=None)[0])
    left = leave_one_out(problem_of(y, U))
    np.testing.assert_allclose([one.gap for one in left], residual / (1 - hat), rtol=1e-7)
    np.testing.assert_allclose([one.u for one in left], U / np.sqrt(1 - hat), rtol=1e-7)
    np.testing.assert_allclose(fit_problem(problem_of(y, U)).leverage, hat, rtol=1e-8)


def test_left_out_gap_without_stated_uncertainty_is_the_studentised_one():
    # Externally studentised residual e / (s_(i) sqrt(1 - h)): Cook & Weisberg (1982).
    y = noisy()
    design = np.stack([np.ones(8), X], axis=1)
    hat = np.diag(design @ np.linalg.inv(design.T @ design) @ design.T)
    residual = y - design @ np.linalg.lstsq(design, y, rcond=None)[0]
    without = (np.sum(residual**2) - residual**2 / (1 - hat)) / 5
    left = leave_one_out(problem_of(y, None))
    np.testing.assert_allclose([one.z for one in left], residual / np.sqrt(without * (1 - hat)), rtol=1e-6)


def test_a_wrong_reading_is_named_even_though_all_others_suffer():
    y = noisy()
    y[5] += 3.0
    problem = problem_of(y, U, places=tuple(f"lines.csv:{k + 2}" for k in range(8)))
    left = leave_one_out(problem)
    worst = max(left, key=lambda one: abs(one.z))
    assert worst.place == "lines.csv:7"
    assert worst.row == 5
    assert abs(worst.z) > 20
    assert worst.chi2 < 15
    others = [abs(one.z) for one in left if one.row != 5]
    assert max(others) < 4


def test_others_that_scatter_more_than_stated_widen_the_gap():
    y = noisy(4.0)
    design = np.stack([np.ones(8), X], axis=1) / U[:, None]
    hat = np.diag(design @ np.linalg.inv(design.T @ design) @ design.T)
    for one in leave_one_out(problem_of(y, U)):
        assert one.chi2 > 19  # the limit for 5 degrees of freedom is 18.9
        expected = U[one.row] * np.sqrt(one.chi2 / 5 / (1 - hat[one.row]))
        assert one.u == pytest.approx(expected, rel=1e-7)


def test_known_result_may_be_handed_in():
    problem = problem_of(noisy(), U)
    ours, theirs = leave_one_out(problem, fit_problem(problem)), leave_one_out(problem)
    assert [one.z for one in ours] == pytest.approx([one.z for one in theirs])


def test_errors_in_x_count_in_the_gap():
    y = noisy()
    problem = problem_of(y, U, u_x=np.full(8, 0.2))
    for one in leave_one_out(problem):
        assert one.u > np.hypot(U[one.row], 0.2 * 1.7)


def test_what_was_known_before_still_helps_without_the_reading():
    # One reading: without it the priors alone predict 1 + 2 x, with u of sqrt(0.1^2 + (0.2 x)^2).
    parameters = (Parameter("a", 0.0, prior=ufloat(1.0, 0.1)), Parameter("b", 1.0, prior=ufloat(2.0, 0.2)))
    problem = Problem(line, parameters, X[6:], 1.5 + 2 * X[6:], np.array([1e6, 0.3]))
    (_, last) = leave_one_out(problem)
    assert last.gap == pytest.approx(0.5, rel=1e-6)
    assert last.u == pytest.approx(np.sqrt(0.3**2 + 0.1**2 + 0.8**2), rel=1e-6)
