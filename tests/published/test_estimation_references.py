"""The fit against two reference libraries: odrpack (orthogonal distance, errors in both) and GTC (GUM tree)."""

import GTC
import numpy as np
import pandas as pd
import pytest
from odrpack import odr_fit
from uncertainties import covariance_matrix

from aotf_lab.estimation import FittedFunction, Parameter, weighted_fit
from tests.house import SHARED


def line(x, a, b):
    return a + b * x


def fit(model, starts, x, y, u_y, u_x=None):
    parameters = [Parameter(f"b{k}", v) for k, v in enumerate(starts)]
    return weighted_fit(model, parameters, np.asarray(x), y, u_y, u_x=u_x)


def by_orthogonal_distance(model, starts, x, y, u_y, u_x):
    """Values, standard uncertainties (unscaled) and sum of squares by odrpack."""
    x, y, u_y, u_x = (np.asarray(v, dtype=float) for v in (x, y, u_y, u_x))
    found = odr_fit(
        lambda x, b: model(x, *b), x, y, np.array(starts), weight_x=u_x**-2, weight_y=u_y**-2,
        diff_scheme="central", sstol=1e-14, partol=1e-14, maxit=500,
    )  # fmt: skip
    return found.beta, np.sqrt(np.diag(found.cov_beta)), found.sum_square


def pearson():
    table = pd.read_csv(SHARED / "pearson_york.csv")
    return table["x"], table["y"], table["w_y"] ** -0.5, table["w_x"] ** -0.5


def mathioulakis():
    table = pd.read_csv(SHARED / "mathioulakis.csv")
    return table["x_reading_C"], table["y_reference_C"], table["u_y"], table["u_x"]


@pytest.mark.parametrize("data", [pearson, mathioulakis])
def test_line_with_errors_in_both_agrees_with_odrpack(data):
    # For a straight line the effective variance is the orthogonal distance.
    ours = fit(line, [1.0, 0.5], *data())
    values, u, chi2 = by_orthogonal_distance(line, [1.0, 0.5], *data())
    assert np.all(np.abs(ours.values - values) < 1e-4 * u)
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)), u, rtol=1e-3)
    assert ours.chi2 == pytest.approx(chi2, rel=1e-7)


@pytest.mark.parametrize("data", [pearson, mathioulakis])
def test_line_with_errors_in_both_agrees_with_gtc(data):
    # GTC.type_b.line_fit_wtls: the uncertainties are those of the inputs, carried through the estimate, hence 2 %.
    x, y, u_y, u_x = data()
    theirs = GTC.type_b.line_fit_wtls(
        [GTC.ureal(v, u) for v, u in zip(x, u_x, strict=True)], [GTC.ureal(v, u) for v, u in zip(y, u_y, strict=True)]
    )
    a, b = theirs.a_b
    ours = fit(line, [1.0, 0.5], x, y, u_y, u_x)
    assert np.all(np.abs(ours.values - [a.x, b.x]) < 1e-3 * np.array([a.u, b.u]))
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)), [a.u, b.u], rtol=0.02)


def test_weighted_line_agrees_with_gtc():
    # GTC.type_a.line_fit_wls on the second weighted example of ISO/TS 28037:2010.
    x, y, u = np.arange(1.0, 7.0), [3.2, 4.3, 7.6, 8.6, 11.7, 12.8], np.array([0.5] * 3 + [1.0] * 3)
    a, b = GTC.type_a.line_fit_wls(x, y, u).a_b
    ours = fit(line, [0.0, 1.0], x, y, u)
    np.testing.assert_allclose(ours.values, [a.x, b.x], rtol=1e-8)
    assert covariance_matrix(list(ours.parameters.values()))[0][1] == pytest.approx(GTC.get_covariance(a, b), rel=1e-7)
    np.testing.assert_allclose([p.s for p in ours.parameters.values()], [a.u, b.u], rtol=1e-8)


def test_line_of_unknown_noise_agrees_with_gtc():
    # GTC.type_a.line_fit on JCGM 100:2008 Table H.6, with the value at 30 C and its inverse use.
    table = pd.read_csv(SHARED / "gum_h3_data.csv")
    x, y = table["t_k_C"].to_numpy() - 20.0, table["b_k_C"].to_numpy()
    theirs = GTC.type_a.line_fit(x, y)
    ours = fit(line, [0.0, 1.0], x, y, None)
    at_30, expected = FittedFunction(ours, line)(10.0), theirs.intercept + 10.0 * theirs.slope
    assert (at_30.n, at_30.s) == pytest.approx((expected.x, expected.u), rel=1e-7)
    assert ours.dof == pytest.approx(expected.df)
    back = FittedFunction(ours, line).inverse(-0.16, 0.0, 10.0)
    expected = (-0.16 - theirs.intercept) / theirs.slope
    assert (back.n, back.s) == pytest.approx((expected.x, expected.u), rel=1e-7)


def tank(x, a, b, c):
    """A curve like a varactor oscillator's: steep and bent at the low end."""
    return a - b / np.sqrt(x + c)


def bent_readings(u_x):
    rng = np.random.default_rng(8)
    x = np.linspace(0.3, 14.0, 21)
    u_y = np.full(21, 0.008)
    y = tank(x, 130.0, 80.0, 1.0) + 0.008 * rng.normal(size=21)
    return x + u_x * rng.normal(size=21), y, u_y, np.full(21, u_x)


@pytest.mark.parametrize(("u_x", "share"), [(0.004, 0.005), (0.04, 0.05)])
def test_curve_with_errors_in_both_hardly_differs_from_odrpack(u_x, share):
    # The effective variance takes the curve as straight over the width of u_x. On this curve, whose curvature over
    # slope is 1.2 per V at the low end, that moves the parameters by ``share`` of a standard uncertainty at the most.
    values, u, chi2 = by_orthogonal_distance(tank, [120.0, 70.0, 0.8], *bent_readings(u_x))
    ours = fit(tank, [120.0, 70.0, 0.8], *bent_readings(u_x))
    assert np.max(np.abs(ours.values - values) / u) < share
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)), u, rtol=0.003 * share)
    assert ours.chi2 == pytest.approx(chi2, rel=share)
