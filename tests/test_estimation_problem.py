"""What a fit refuses before it starts: impossible readings, uncertainties, starts and shapes."""

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.estimation import Parameter, Problem, fit_problem, leave_one_out, weighted_fit
from aotf_lab.estimation.problem import differences

X = np.linspace(0.0, 4.0, 9)
PLACES = [f"tune.csv:{k + 2}" for k in range(9)]


def line(x, a, b):
    return a + b * x


def fit_line(y, u_y, x=X, **options):
    return weighted_fit(line, [Parameter("a", 0.0), Parameter("b", 1.0)], x, y, u_y, **options)


@pytest.mark.parametrize("u", [0.0, -0.1, np.nan, np.inf])
def test_uncertainty_that_cannot_be_is_named_with_its_row(u):
    u_bad = np.full(9, 0.1)
    u_bad[3] = u
    with pytest.raises(ReadingsError, match=rf"^tune.csv:5: standard uncertainty of the sweep; found {u:g}; allo"):
        fit_line(2 * X, u_bad, scatter="the sweep", places=PLACES)
    with pytest.raises(ReadingsError, match=rf"^row 4: .*found {u:g}; allowed: a finite number above zero"):
        fit_line(2 * X, 0.1, u_x=u_bad)


def test_value_that_is_no_number_is_named_with_its_row():
    y = np.where(np.arange(9) == 7, np.nan, X)
    with pytest.raises(ReadingsError, match=r"^tune.csv:9: value of the readings; found nan; allowed: a finite"):
        fit_line(y, 0.1, places=PLACES)
    x = np.where(X == 0, np.inf, X)
    with pytest.raises(ReadingsError, match=r"^row 1: setting of the readings; found inf; allowed: a finite"):
        fit_line(X, 0.1, x)


def test_too_few_readings_are_counted():
    with pytest.raises(ReadingsError, match=r"^too few readings among the lines; found 1; allowed: at least 2"):
        fit_line(X[:1], 0.1, X[:1], scatter="the lines")
    with pytest.raises(ReadingsError, match="found 2; allowed: at least 3; measure more, or state the unc"):
        fit_line(X[:2], None, X[:2])
    with pytest.raises(ReadingsError, match=r"^too few readings among the readings; found 0; allowed: at least 1"):
        weighted_fit(line, [Parameter(n, 0.0, prior=ufloat(0, 1)) for n in "ab"], X[:0], X[:0], 0.1)


def test_start_and_bounds_that_cannot_be():
    with pytest.raises(AotfLabError, match="the parameter peak; found start nan in 0 to 1; allowed: a finite start"):
        Parameter("peak", np.nan, low=0, high=1)
    with pytest.raises(AotfLabError, match=r"start 0.5 in 1 to 0; allowed: .*the upper one; give a first"):
        Parameter("peak", 0.5, low=1, high=0)
    assert Parameter("peak", 1.7, low=0, high=1).start == 1.0


def test_shape_of_the_model_is_checked():
    with pytest.raises(AotfLabError, match=r"one value for each reading; found shape \(\); allowed: shape \(9"):
        weighted_fit(lambda x, a: a, [Parameter("a", 0.0)], X, X, 0.1)


def test_settings_may_be_whatever_the_model_understands():
    table = {"volts": X, "up": X > 2}
    model = lambda t, a, b, c: a + b * t["volts"] + c * t["up"]  # noqa: E731
    parameters = tuple(Parameter(n, 0.0) for n in "abc")
    fit = fit_problem(Problem(model, parameters, table, 1 + 2 * X + 3 * (X > 2), np.full(9, 0.1)))
    assert fit.values == pytest.approx([1.0, 2.0, 3.0])


def test_leaving_out_is_impossible_where_one_reading_holds_a_parameter():
    at_end = lambda x, a, b: a + b * (x > 3.9)  # noqa: E731
    problem = Problem(at_end, (Parameter("a", 0.0), Parameter("b", 0.0)), X, 1 + X, np.full(9, 0.1))
    with pytest.raises(AotfLabError, match="the readings do not determine b; found 8 readings that leave them free"):
        leave_one_out(problem)


def test_derivatives_never_ask_outside_the_bounds():
    asked = []

    def sine(values):
        asked.append(values.copy())
        return np.array([np.sin(values[0]), values[0] * values[1]])

    low, high = np.array([0.0, -1.0]), np.array([1.0, 2.0])
    jacobian = differences(sine, np.array([0.0, 2.0]), np.array([6e-6, 6e-6]), low, high)
    np.testing.assert_allclose(jacobian, [[1.0, 0.0], [2.0, 0.0]], atol=1e-9)
    assert np.all(np.array(asked) >= low)
    assert np.all(np.array(asked) <= high)


def test_slope_by_x_at_the_edge_of_what_the_model_knows():
    # d sqrt(x) / dx is infinite at 0: the square of it is asked, x^1.5 with slope 0 there and no value below.
    def model(x, a):
        with np.errstate(invalid="ignore"):
            return a * np.sqrt(x) ** 3

    problem = Problem(model, (Parameter("a", 1.0),), X, X, np.full(9, 0.1), np.full(9, 0.1))
    slope = problem.slope(X, np.array([2.0]))
    np.testing.assert_allclose(slope, 3.0 * np.sqrt(X), rtol=1e-9, atol=0.02)
    np.testing.assert_allclose(slope[1:], 3.0 * np.sqrt(X[1:]), rtol=1e-9)
