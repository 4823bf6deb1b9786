"""The search: bounds, parameters that cannot be told apart, and minima that are only local."""

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import FitError
from aotf_lab.estimation import Parameter, Problem, fit_problem, weighted_fit
from aotf_lab.estimation.solver import _polish, solve

X = np.linspace(0.5, 4.0, 12)


def checks(fit):
    return {c.name: c for c in fit.checks}


@pytest.mark.parametrize(
    "model",
    [
        lambda x, a, b, c: a * b * x + c,
        lambda x, a, b, c: (a + b) * x + c,
        lambda x, a, b, c: a * np.exp(b - x) + c,
    ],
)
def test_parameters_that_act_alike_are_named(model):
    parameters = [Parameter("a", 1.3), Parameter("b", 0.7), Parameter("c", 0.1)]
    with pytest.raises(FitError, match=r"^the sweep do not determine a and b; found 12 readings that leave"):
        weighted_fit(model, parameters, X, 2 * X + 0.3, 0.1, scatter="the sweep")


def test_parameter_that_does_not_act_is_named():
    with pytest.raises(FitError, match=r"^the readings do not determine b; found 12 readings"):
        weighted_fit(lambda x, a, b: a * x, [Parameter("a", 1.0), Parameter("b", 1.0)], X, X, 0.1)


def test_a_prior_tells_apart_what_the_readings_cannot():
    parameters = [Parameter("a", 1.3), Parameter("b", 0.7, prior=ufloat(0.5, 0.1))]
    fit = weighted_fit(lambda x, a, b: (a + b) * x, parameters, X, 2 * X, 0.1)
    assert fit.values == pytest.approx([1.5, 0.5])
    assert (fit.parameters["a"] + fit.parameters["b"]).s == pytest.approx(0.1 / np.sqrt(np.sum(X**2)))


def decay(x, a, b):
    return a * np.exp(-x) + b


@pytest.mark.parametrize("start", [0.0, 1e-9, 0.3, 1.0])
def test_a_search_that_starts_at_a_bound_leaves_it(start):
    parameters = [Parameter("a", start, low=0.0, high=1.0), Parameter("b", 0.0)]
    problem = Problem(decay, tuple(parameters), X, decay(X, 0.4, 2.0), np.full(12, 0.01))
    found = solve(problem)
    assert found.values == pytest.approx([0.4, 2.0])
    assert found.at_bound == ()
    assert "limits" not in checks(fit_problem(problem))


def test_the_last_steps_leave_a_bound_that_the_search_ended_on():
    parameters = (Parameter("a", 0.5, low=0.0, high=1.0), Parameter("b", 0.0))
    problem = Problem(decay, parameters, X, decay(X, 0.4, 2.0), np.full(12, 0.01))
    found = _polish(problem, np.array([0.0, 2.2]), np.array([True, True]), strict=True)
    assert found.values == pytest.approx([0.4, 2.0])


def test_a_parameter_held_by_its_bound_fails_a_check():
    parameters = [Parameter("a", 0.5, low=0.0, high=1.0), Parameter("b", 0.0)]
    fit = weighted_fit(lambda x, a, b: a * x + b, parameters, X, 1.5 * X + 2.0, 0.1)
    assert fit.values[0] == pytest.approx(1.0, abs=1e-9)
    assert fit.values[1] == pytest.approx(2.0 + 0.5 * X.mean())
    assert not checks(fit)["limits"].passed
    assert checks(fit)["limits"].detail.startswith("a stopped at a limit of what is physical")
    assert not fit.trusted


def test_a_model_without_values_beyond_the_bound_is_never_asked_there():
    def model(x, a, b):
        assert a >= 0, "asked below zero"
        return b * np.sqrt(a + 0 * x) * x

    parameters = [Parameter("a", 0.0, low=0.0, high=4.0), Parameter("b", 1.0, low=0.1)]
    fit = weighted_fit(lambda x, a, b: model(x, a, 1.0) + b, parameters, X, 0.5 * X + 3.0, 0.01)
    assert fit.values == pytest.approx([0.25, 3.0])


RIPPLE = [Parameter("amplitude", 1.0), Parameter("rate", 3.0), Parameter("phase", 0.0)]


def ripple(x, amplitude, rate, phase):
    return amplitude * np.sin(rate * x + phase)


def ripple_from(rate, u_y):
    rng = np.random.default_rng(3)
    x = np.sort(rng.uniform(0.0, 10.0, 40))  # uneven, or other rates would fit as well
    y = ripple(x, 1.0, 3.0, 0.4) + 0.02 * rng.normal(size=40)
    start = [RIPPLE[0], Parameter("rate", rate), RIPPLE[2]]
    return Problem(ripple, tuple(start), x, y, u_y)


@pytest.mark.parametrize("u_y", [np.full(40, 0.02), None])
def test_a_minimum_that_is_only_local_is_left_or_told(u_y):
    # A sine's rate has a local minimum every 2 pi over the length of the record, 0.63 apart.
    outcomes = set()
    for rate in np.arange(1.2, 4.8, 0.2):
        problem = ripple_from(rate, u_y)
        try:
            fit = fit_problem(problem)
        except FitError:
            outcomes.add("error")
            continue
        right = abs(abs(fit.values[1]) - 3.0) < 0.02
        loud = [c.name for c in fit.failed if c.name != "stated uncertainty"]
        assert right or loud, (rate, fit.values)
        outcomes.add("right" if right else "told")
    assert "right" in outcomes


def test_a_deeper_minimum_is_found_and_its_check_says_how_it_was_found():
    problem = ripple_from(2.2, np.full(40, 0.02))
    assert abs(solve(problem).values[1] - 3.0) > 0.1
    fit = fit_problem(problem)
    assert fit.values[1] == pytest.approx(3.0, abs=0.01)
    assert (
        "searches that ended in a minimum led to this one, none to a deeper one"
        in checks(fit)["deepest minimum"].detail
    )
    assert "the first guess led to a sum of squares of" in checks(fit)["deepest minimum"].detail


def test_a_good_fit_makes_one_search_only():
    assert "deepest minimum" not in checks(fit_problem(ripple_from(3.05, np.full(40, 0.02))))


def test_the_same_fit_gives_the_same_answer():
    first, second = (fit_problem(ripple_from(2.2, None)) for _ in range(2))
    assert np.array_equal(first.values, second.values)


def test_a_search_that_goes_nowhere_says_so():
    # No minimum: the sum of squares falls for ever as a grows.
    with pytest.raises(FitError, match=r"^the readings do not determine a; .*measure where the parameters"):
        weighted_fit(lambda x, a: np.exp(-a * x), [Parameter("a", 1.0)], X, -1.0 + 0 * X, 0.1)


def test_a_model_that_gives_no_number_is_not_a_fit():
    with pytest.raises(FitError, match=r"ran to where its model has no value; found a sum of squares of nan"):
        weighted_fit(lambda x, a: a * np.log(-x), [Parameter("a", 1.0)], X, X, 0.1)
