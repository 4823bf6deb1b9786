"""A fitted curve and its inverse: uncertainty, correlation, refusals."""

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.errors import FitError, OutOfRangeError
from aotf_lab.estimation import FittedFunction, Parameter, weighted_fit
from aotf_lab.estimation.evaluate import require_inside

POWER = np.linspace(0.03, 0.6, 15)
U = 0.006


def efficiency(p, saturation, peak):
    return peak * np.sin(np.pi / 2 * np.sqrt(p / saturation)) ** 2


def curve_of(y):
    start = [Parameter("saturation", 0.5, low=0.05), Parameter("peak", 0.8, low=0.0, high=1.0)]
    return FittedFunction(weighted_fit(efficiency, start, POWER, y, U), efficiency, low=0.0)


CLEAN = efficiency(POWER, 0.42, 0.88)


def test_inverse_has_the_simulated_scatter():
    rng = np.random.default_rng(4)
    drawn = [curve_of(CLEAN + U * rng.normal(size=15)).inverse(0.5, 0.0, 0.4).n for _ in range(600)]
    assert curve_of(CLEAN).inverse(0.5, 0.0, 0.4).s == pytest.approx(np.std(drawn), rel=0.1)


def test_inverse_of_a_reading_has_the_simulated_scatter():
    rng = np.random.default_rng(6)
    drawn = [
        curve_of(CLEAN + U * rng.normal(size=15)).inverse(0.5 + 0.02 * rng.normal(), 0.0, 0.4).n for _ in range(600)
    ]
    assert curve_of(CLEAN).inverse(ufloat(0.5, 0.02), 0.0, 0.4).s == pytest.approx(np.std(drawn), rel=0.1)


def test_curve_and_inverse_undo_each_other_with_nothing_left():
    curve = curve_of(CLEAN)
    power = curve.inverse(0.5, 0.0, 0.4)
    there_and_back = curve(power)
    assert there_and_back.n == pytest.approx(0.5)
    assert there_and_back.s < 1e-6 * curve(power.n).s


def test_array_in_array_out_and_scalar_in_scalar_out():
    curve = curve_of(CLEAN)
    several = curve(np.array([0.1, 0.2]))
    assert several.shape == (2,)
    assert several[1].n == pytest.approx(curve(0.2).n)
    assert (several[1] - curve(0.2)).s == pytest.approx(0.0, abs=1e-15)
    assert curve.inverse([0.3, 0.5], 0.0, 0.4).shape == (2,)


def test_plain_uncertainty_is_that_of_the_numbers():
    curve = curve_of(CLEAN)
    x = np.array([0.05, 0.3, 0.5])
    np.testing.assert_allclose(curve.u(x), [value.s for value in curve(x)], rtol=1e-9)


def test_uncertain_setting_adds_its_slope():
    curve = curve_of(CLEAN)
    slope = (curve(0.2001).n - curve(0.1999).n) / 0.0002
    assert curve(ufloat(0.2, 0.01)).s == pytest.approx(np.hypot(curve(0.2).s, 0.01 * slope), rel=1e-5)


def test_slope_at_the_edge_asks_nothing_beyond_it():
    # d efficiency / d power at 0 is peak (pi / 2)^2 / saturation.
    curve = curve_of(CLEAN)
    saturation, peak = curve.fit.values
    assert curve.slope(np.array([0.0]))[0] == pytest.approx(peak * (np.pi / 2) ** 2 / saturation, rel=1e-3)


def test_gradient_at_a_bound_asks_nothing_beyond_it():
    def model(x, a, b):
        assert a <= 1.0, "asked above the bound"
        return a * x + b

    parameters = [Parameter("a", 0.5, high=1.0), Parameter("b", 0.0)]
    fit = weighted_fit(model, parameters, POWER, 1.2 * POWER, 0.01)
    assert "limits" in {c.name for c in fit.failed}
    np.testing.assert_allclose(FittedFunction(fit, model).gradient(np.array([0.5])), [[0.5, 1.0]], rtol=1e-6)


def test_value_that_the_curve_does_not_take_is_refused():
    curve = curve_of(CLEAN)
    with pytest.raises(FitError, match=r"^the fitted curve does not take this value; found 0.95; allowed: 0 to 0.8"):
        curve.inverse(0.95, 0.0, 0.4)


def test_inverse_at_the_very_end_of_the_range():
    line = FittedFunction(
        weighted_fit(lambda x, a: a * x, [Parameter("a", 1.0)], POWER, 2 * POWER, 0.1), lambda x, a: a * x
    )
    assert line.inverse(2.0 * 0.6 * (1 + 1e-13), 0.03, 0.6).n == pytest.approx(0.6)


def test_flat_curve_has_no_inverse():
    flat = weighted_fit(lambda x, a: a + 0 * x, [Parameter("a", 1.0)], POWER, 1.0 + 0 * POWER, 0.1)
    with pytest.raises(FitError, match=r"is flat where it takes this value; found 1 at .*ask away from the"):
        FittedFunction(flat, lambda x, a: a + 0 * x).inverse(flat.values[0], 0.0, 1.0)


def test_outside_the_range_names_range_and_nearest():
    with pytest.raises(OutOfRangeError, match=r"drive voltage lies .*found 14.2 V; allowed: 0.3 to 14 V; ask at 14"):
        require_inside("drive voltage", np.array([5.0, 14.2]), 0.3, 14.0, "V")
    with pytest.raises(OutOfRangeError, match=r"found nan V; allowed: 0.3 to 14 V"):
        require_inside("drive voltage", np.array([np.nan]), 0.3, 14.0, "V")
    require_inside("drive voltage", np.array([0.3, 14.0]), 0.3, 14.0, "V")
