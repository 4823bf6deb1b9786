"""The smooth curve against scikit-learn's Gaussian process and odrpack's orthogonal distance regression."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from odrpack import odr_fit
from scipy.optimize import minimize
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Kernel, Matern
from uncertainties import covariance_matrix

from aotf_lab.estimation.smooth.curve import fit_smooth
from aotf_lab.estimation.smooth.monotone import made_monotone
from aotf_lab.estimation.smooth.numbers import linear_numbers
from aotf_lab.estimation.smooth.posterior import averaged, likelihoods, reduce_readings
from aotf_lab.estimation.smooth.prior import matern, smooth_prior


class Columns(Kernel):
    """A free combination of the columns of X beyond the first: a mean with a very wide prior."""

    def __init__(self, variance: float) -> None:
        self.variance = variance

    def __call__(self, X, Y=None, eval_gradient=False):
        return self.variance * X[:, 1:] @ (X if Y is None else Y)[:, 1:].T

    def diag(self, X):
        return self.variance * np.sum(X[:, 1:] ** 2, axis=1)

    def is_stationary(self):
        return False


class First(Kernel):
    """A Matern kernel over the first column of X alone."""

    def __init__(self, matern: Matern, variance: float) -> None:
        self.matern = matern
        self.variance = variance

    def __call__(self, X, Y=None, eval_gradient=False):
        return self.variance * self.matern(X[:, :1], None if Y is None else Y[:, :1])

    def diag(self, X):
        return np.full(len(X), self.variance)

    def is_stationary(self):
        return True


WIDE = 1e5
"""Prior variance of the mean's coefficients in the reference: wide beside 1, not so wide that digits are lost."""


def reference(amplitude: float, noise: np.ndarray, y: np.ndarray) -> tuple[GaussianProcessRegressor, np.ndarray]:
    """scikit-learn's process for the first combination of the grid, at the nodes."""
    prior = smooth_prior()
    nodes = prior.nodes
    warped = np.log1p(nodes / 0.04) / np.log1p(1 / 0.04)
    x = np.column_stack([warped, prior.means[0]])
    kernel = Columns(WIDE) + First(Matern(0.3, nu=2.5), amplitude**2)
    process = GaussianProcessRegressor(kernel, alpha=noise**2, optimizer=None)
    return process.fit(x, y), x


@pytest.mark.parametrize("smoothness", [2.5, 4.5])
def test_matern_agrees_with_scikit_learn(smoothness):
    distance = np.linspace(0, 4, 50)
    expected = Matern(1.0, nu=smoothness)(distance[:, None], np.zeros((1, 1)))[:, 0]
    assert matern(distance, smoothness) == pytest.approx(expected, rel=1e-9)


def test_matern_refuses_other_smoothness():
    with pytest.raises(ValueError, match=r"smoothness 3\.5 is not built; allowed: 2\.5 or 4\.5"):
        matern(np.zeros(1), 3.5)


def test_posterior_agrees_with_scikit_learn():
    prior = smooth_prior().only(0)
    rng = np.random.default_rng(1)
    noise = rng.uniform(0.01, 0.03, len(prior.nodes))
    y = np.log1p(5 * prior.nodes) + 0.1 * np.sin(6 * prior.nodes) + noise * rng.standard_normal(len(noise))
    place = 12
    data = reduce_readings(np.diag(1 / noise), y / noise)
    single = replace(prior, variances=prior.variances[place : place + 1])
    grid = likelihoods(single, data)
    found = averaged(single, data, grid, grid.log_known, best=False)
    process, x = reference(float(np.sqrt(prior.variances[place])), noise, y)
    mean, covariance = process.predict(x, return_cov=True)
    assert found.estimate == pytest.approx(mean, abs=1e-6)
    assert found.scatter + found.form == pytest.approx(covariance, abs=1e-3 * np.max(covariance))


def test_restricted_likelihood_agrees_with_scikit_learn():
    prior = smooth_prior().only(0)
    rng = np.random.default_rng(2)
    noise = np.full(len(prior.nodes), 0.02)
    y = np.log1p(5 * prior.nodes) + noise * rng.standard_normal(len(noise))
    grid = likelihoods(prior, reduce_readings(np.diag(1 / noise), y / noise))
    ours = [grid.log_known[0, k] - grid.log_known[0, 12] for k in (6, 12, 18)]
    theirs = [
        reference(float(np.sqrt(prior.variances[k])), noise, y)[0].log_marginal_likelihood_value_ for k in (6, 12, 18)
    ]
    assert ours == pytest.approx(np.array(theirs) - theirs[1], abs=1e-2)


def test_errors_in_both_agree_with_odrpack():
    rng = np.random.default_rng(4)
    x = np.linspace(0.0, 10.0, 25)
    u_x, u_y = np.full(25, 0.15), np.full(25, 0.2)

    def law(x, beta):
        return beta[0] + beta[1] * np.log1p(x / 1.2) + beta[2] * x

    y = law(x + u_x * rng.standard_normal(25), [1.0, 8.0, 0.4]) + u_y * rng.standard_normal(25)
    second_warp = smooth_prior().only(6)
    rigid = replace(second_warp, variances=np.array([1e-24]))
    low, high = x.min(), x.max()
    fit = fit_smooth(x, y, u_x, u_y, prior=rigid)
    odr = odr_fit(law, x, y, np.array([1.0, 8.0, 0.4]), weight_x=u_x**-2, weight_y=u_y**-2)
    gap = fit.curve(np.linspace(low, high, 40)) - law(np.linspace(low, high, 40), odr.beta)
    u = np.sqrt(np.einsum("ij,jk,ik->i", *(lambda w: (w, fit.scatter, w))(fit.rows(np.linspace(low, high, 40)))))
    assert np.max(np.abs(gap) / u) < 0.002


def test_numbers_keep_every_correlation():
    rng = np.random.default_rng(3)
    a, b = rng.standard_normal((4, 4)), rng.standard_normal((4, 2))
    numbers = linear_numbers(np.arange(4.0), {"one": a @ a.T, "two": b @ b.T})
    combined = numbers.combine(np.eye(4))
    assert np.array(covariance_matrix(combined)) == pytest.approx(a @ a.T + b @ b.T, rel=1e-6)
    assert {v.tag for v in combined[0].error_components()} == {"one", "two"}
    assert numbers.u(np.array([[1.0, -1.0, 0.0, 0.0]]))[0] == pytest.approx((combined[0] - combined[1]).s)


def test_term_test_predicts_the_term_of_a_refit():
    rng = np.random.default_rng(5)
    x = np.concatenate([np.linspace(0, 10, 21), np.linspace(10, 0, 11)])
    u = np.full(32, 0.02)
    y = 40 + 5 * np.log1p(x) + u * rng.standard_normal(32)
    column = np.arange(32.0) - 31
    free = fit_smooth(x, y, np.full(32, 1e-3), u)
    value, u_value = free.term_test(column)
    with_term = fit_smooth(x, y, np.full(32, 1e-3), u, others=column[:, None])
    assert with_term.values[-1] == pytest.approx(value, abs=0.3 * u_value)
    assert np.sqrt((with_term.scatter + with_term.form)[-1, -1]) == pytest.approx(u_value, rel=0.1)


def test_term_of_the_curve_s_own_shape_cannot_be_told():
    x = np.linspace(0, 10, 21)
    fit = fit_smooth(x, 40 + 5 * np.log1p(x), np.full(21, 1e-3), np.full(21, 0.02))
    assert fit.term_test(x) == (0.0, np.inf)


@pytest.mark.parametrize(("factor", "scaled"), [(1.0, False), (3.0, True)])
def test_scatter_is_scaled_up_only_when_it_must(factor, scaled):
    rng = np.random.default_rng(6)
    x = np.linspace(0, 10, 40)
    y = 40 + 5 * np.log1p(x) + factor * 0.02 * rng.standard_normal(40)
    fit = fit_smooth(x, y, np.full(40, 1e-6), np.full(40, 0.02))
    assert (fit.birge > 1) == scaled
    if scaled:
        assert fit.birge == pytest.approx(np.sqrt(fit.chi2 / fit.dof))
        assert fit.birge == pytest.approx(factor, rel=0.3)


def test_unknown_noise_is_found_whatever_the_guess():
    rng = np.random.default_rng(7)
    x = np.linspace(0, 10, 60)
    y = 40 + 5 * np.log1p(x) + 0.02 * rng.standard_normal(60)
    spreads = [
        float(np.median(fit_smooth(x, y, np.zeros(60), np.full(60, guess), u_known=False).spread))
        for guess in (0.5, 0.02, 0.001)
    ]
    assert spreads == pytest.approx([0.02] * 3, rel=0.2)
    assert spreads == pytest.approx([spreads[1]] * 3, rel=0.03)


def test_nearest_rising_curve_is_the_constrained_minimum():
    rng = np.random.default_rng(8)
    x = np.linspace(0, 10, 25)
    free = fit_smooth(x, 60 + 20 * np.tanh(x / 2) + 0.1 * rng.standard_normal(25), np.full(25, 1e-3), np.full(25, 0.1))
    places = np.linspace(0, 10, 240)
    rising = made_monotone(free)
    assert np.min(free.slope(places)) < 0 < np.min(rising.fit.slope(places))
    eigenvalues, vectors = np.linalg.eigh(free.scatter + free.form)
    factor = vectors * np.sqrt(np.clip(eigenvalues, 1e-14 * eigenvalues[-1], None))
    slopes = free.slope_rows(places)
    least = 1e-3 * np.ptp(free.values) / 10
    found = minimize(
        lambda z: z @ z,
        np.zeros(len(free.values)),
        jac=lambda z: 2 * z,
        method="SLSQP",
        constraints={
            "type": "ineq",
            "fun": lambda z: slopes @ (free.values + factor @ z) - least,
            "jac": lambda z: slopes @ factor,
        },
        options={"ftol": 1e-12, "maxiter": 500},
    )
    assert rising.distance_squared == pytest.approx(found.fun, rel=1e-3)


def test_rising_curve_is_left_alone():
    x = np.linspace(0, 10, 25)
    free = fit_smooth(x, 40 + 5 * np.log1p(x), np.full(25, 1e-3), np.full(25, 0.02))
    assert made_monotone(free).fit is free


@pytest.mark.filterwarnings("ignore::sklearn.exceptions.ConvergenceWarning")
def test_curve_agrees_with_scikit_learn_and_its_optimiser():
    rng = np.random.default_rng(9)
    x = np.linspace(0.3, 14, 32)
    y = 40 + 18 * np.log1p(x) + 0.02 * rng.standard_normal(32)
    fit = fit_smooth(x, y, np.full(32, 1e-6), np.full(32, 0.02))
    process = GaussianProcessRegressor(
        ConstantKernel(1.0, (1e-3, 1e8)) * Matern(1.0, (1e-2, 1e3), nu=2.5),
        alpha=(0.02 / y.std()) ** 2,
        normalize_y=True,
    ).fit(np.log1p(x)[:, None], y)
    at = np.linspace(0.5, 13.5, 30)
    theirs, u_theirs = process.predict(np.log1p(at)[:, None], return_std=True)
    assert np.max(np.abs(fit.curve(at) - theirs) / u_theirs) < 3
