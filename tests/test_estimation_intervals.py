"""Profile intervals against an independent scan of chi-square and against theory."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import minimize_scalar

from aotf_lab.errors import AotfLabError, FitError
from aotf_lab.estimation import Parameter, Problem, fit_problem, profile_interval
from aotf_lab.estimation.solver import solve

POWER = np.linspace(0.02, 0.22, 9)


def efficiency(p, saturation, peak):
    return peak * np.sin(np.pi / 2 * np.sqrt(p / saturation)) ** 2


def low_drive(u_y=0.012):
    y = efficiency(POWER, 0.42, 0.88) + 0.012 * np.random.default_rng(7).normal(size=9)
    start = (Parameter("saturation", 0.5, low=0.05, high=50.0), Parameter("peak", 0.8, low=0.0))
    return Problem(efficiency, start, POWER, y, None if u_y is None else np.full(9, u_y))


def scanned_interval(problem, u, reach):
    """Both ends by a fine scan of chi-square over saturation; the peak, which enters linearly, is solved by hand."""
    trials = np.linspace(0.1, 3.0, 290001)
    shape = np.sin(np.pi / 2 * np.sqrt(POWER / trials[:, None])) ** 2
    peak = shape @ problem.y / np.sum(shape**2, axis=1)
    chi2 = np.sum((problem.y - peak[:, None] * shape) ** 2, axis=1) / u**2
    inside = trials[chi2 <= chi2.min() + reach]
    return inside[0], inside[-1]


def test_profile_interval_agrees_with_a_scan_and_is_not_symmetric():
    problem = low_drive()
    fit = fit_problem(problem)
    low, high = profile_interval(problem, fit, "saturation", 0.95)
    assert (low, high) == pytest.approx(scanned_interval(problem, 0.012, stats.chi2.ppf(0.95, 1)), abs=2e-4)
    assert high - fit.values[0] > 1.3 * (fit.values[0] - low)


def test_profile_interval_of_unknown_noise_uses_student_t():
    problem = low_drive(None)
    fit = fit_problem(problem)
    expected = scanned_interval(problem, fit.noise, stats.t.ppf(0.975, 7) ** 2)
    assert profile_interval(problem, fit, "saturation") == pytest.approx(expected, abs=1e-3)


def test_profile_interval_widens_with_the_scatter():
    problem = low_drive(0.004)
    fit = fit_problem(problem)
    assert fit.birge > 1.5
    expected = scanned_interval(problem, 0.004 * fit.birge, stats.t.ppf(0.975, fit.dof) ** 2)
    assert profile_interval(problem, fit, "saturation") == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("confidence", [0.68, 0.95, 0.999])
def test_profile_interval_of_a_line_is_the_symmetric_one(confidence):
    x = np.linspace(0.0, 4.0, 9)
    y = 1 + 2 * x + 0.1 * np.random.default_rng(9).normal(size=9)
    problem = Problem(lambda x, a, b: a + b * x, (Parameter("a", 0.0), Parameter("b", 0.0)), x, y, np.full(9, 0.1))
    fit = fit_problem(problem)
    for name in "ab":
        expected = fit.interval(fit.parameters[name], confidence)
        assert profile_interval(problem, fit, name, confidence) == pytest.approx(expected, abs=1e-5)


def test_profile_interval_that_chi_square_never_closes_ends_at_the_bound():
    # Below a tenth of the saturation power only the initial slope is known: no upper end.
    y = efficiency(POWER / 8, 0.42, 0.88) + 0.002 * np.random.default_rng(1).normal(size=9)
    start = (Parameter("saturation", 0.42, low=0.02, high=5.0), Parameter("peak", 0.88, low=0.0))
    problem = Problem(efficiency, start, POWER / 8, y, np.full(9, 0.002))
    low, high = profile_interval(problem, fit_problem(problem), "saturation")
    assert high == 5.0
    assert 0.02 <= low < 0.42


def test_profile_interval_finds_out_a_local_minimum():
    x = np.linspace(0.0, 10.0, 40)
    start = (Parameter("amplitude", 1.0), Parameter("rate", 2.2), Parameter("phase", 0.0))
    model = lambda x, a, rate, phase: a * np.sin(rate * x + phase)  # noqa: E731
    problem = Problem(model, start, x, np.sin(3 * x + 0.4), np.full(40, 0.3))
    local = fit_problem(problem, thorough=False)
    assert abs(local.values[1] - 3.0) > 0.1
    with pytest.raises(FitError, match=r"not at its deepest minimum; found a sum of squares lower by"):
        profile_interval(problem, local, "rate", 1 - 1e-12)


def test_unknown_parameter_is_refused():
    problem = low_drive()
    with pytest.raises(AotfLabError, match="no such parameter; found 'P_sat'; allowed: saturation, peak; use one of"):
        profile_interval(problem, fit_problem(problem), "P_sat")


def test_holding_a_parameter_minimises_over_the_others():
    problem = low_drive()
    held = solve(problem, {"saturation": 0.6})
    by_hand = minimize_scalar(lambda peak: np.sum(problem.residual(np.array([0.6, peak])) ** 2), (0.5, 1.0))
    assert held.values[0] == 0.6
    assert held.sum_squares == pytest.approx(by_hand.fun, rel=1e-9)
