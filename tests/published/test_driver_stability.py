"""Stability of the oscillator against a published test suite, closed forms and other programs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.linalg import toeplitz
from scipy.optimize import curve_fit

from aotf_lab.driver.stability import allan_deviation, fit_pushing, fit_warm_up, stability
from aotf_lab.driver.stability.exponentials import Terms, fit_exponentials
from aotf_lab.driver.stability.walk import Whitener, walk_fit
from tests.house import published
from tests.published.strd import reference_set

SUITE = published("allan_sp1065.csv")


def suite() -> np.ndarray:
    """Return the 1000 numbers of the suite (W. J. Riley, NIST SP 1065 (2008), section 12.4; generator from memory)."""
    n = [1234567890]
    for _ in range(999):
        n.append(16807 * n[-1] % 2147483647)
    return np.array(n) / 2147483647


@pytest.mark.parametrize("row", SUITE, ids=lambda r: f"{r['statistic']} {r['averaging_factor']}")
def test_allan_deviation_of_the_1000_point_suite(row):
    # NIST SP 1065; values from memory, printed to seven digits.
    factor = int(row["averaging_factor"])
    found = allan_deviation(suite(), 1.0, overlapping=row["statistic"] == "oadev", factors=np.array([factor]))
    assert found.deviation[0] == pytest.approx(float(row["value"]), rel=2e-7)
    assert found.low[0] < found.deviation[0] < found.high[0]


def test_stability_of_the_suite_as_megahertz():
    # The same numbers as 1e-6 of 64 MHz: every deviation is then 1e-6 of the suite's, about the mean frequency.
    s = stability(64.0 * (1 + 1e-6 * suite()), rate_hz=1.0)
    expected = {int(r["averaging_factor"]): float(r["value"]) for r in SUITE if r["statistic"] == "oadev"}
    assert s.tau_s[0] == 1.0
    assert s.allan.deviation[0] == pytest.approx(1e-6 * expected[1], rel=2e-6)
    assert s.plain.deviation[0] == pytest.approx(1e-6 * expected[1], rel=2e-6)


def test_plain_deviation_against_its_definition():
    # IEEE Std 1139: half the mean square of the differences of neighbouring averages, here written out.
    y = suite()
    found = allan_deviation(y, 1.0, overlapping=False)
    for tau, deviation in zip(found.tau_s, found.deviation, strict=True):
        m = int(tau)
        means = y[: len(y) // m * m].reshape(-1, m).mean(axis=1)
        assert deviation == pytest.approx(np.sqrt(np.mean(np.diff(means) ** 2) / 2), rel=1e-9)


def _exact_dof(n, m):
    """Return 2 mean^2 / variance of the overlapping estimate from n white frequencies, by its own covariances."""
    window = np.concatenate([-np.ones(m), np.ones(m)])
    lag = np.correlate(window, window, "full")[2 * m - 1 :]
    count = n - 2 * m + 1
    lag = lag[:count]
    shared = count - np.arange(len(lag))
    return count**2 * lag[0] ** 2 / (2 * np.sum(shared * lag**2) - count * lag[0] ** 2)


def test_degrees_of_freedom_of_white_frequency_noise():
    # Exact for Gaussian noise (Isserlis): the mean of squares z_i^2 has the variance 2 sum cov(z_i, z_j)^2 / count^2.
    # The published tables are limits for many readings in an average: too few degrees of freedom, by 12 % at factor 4,
    # are on the careful side; too many would make the interval too narrow.
    found = allan_deviation(np.random.default_rng(4).standard_normal(1024), 1.0)
    assert _exact_dof(1024, 1) == pytest.approx(4 * 1023**2 / (4 * 1023 + 2 * 1022))
    assert found.exponent[:6].tolist() == [0] * 6
    for tau, dof in zip(found.tau_s[:6], found.dof[:6], strict=True):
        assert 0.87 < dof / _exact_dof(1024, int(tau)) < 1.03


def test_whitening_against_the_dense_covariance():
    # Generalised least squares with the whole covariance matrix written out (numpy); the walk counts from the end.
    rng = np.random.default_rng(2)
    t = np.cumsum(rng.uniform(0.5, 2.0, 40))
    ratio = 0.3
    back = t[-1] - t
    dense = np.eye(40) + ratio * np.minimum.outer(back, back)
    columns = rng.standard_normal((40, 3))
    white = Whitener.of(t, ratio)
    np.testing.assert_allclose(
        white(columns).T @ white(columns), columns.T @ np.linalg.solve(dense, columns), rtol=1e-9
    )
    assert white.log_det == pytest.approx(np.linalg.slogdet(dense)[1], rel=1e-9)
    residual = rng.standard_normal(40)
    np.testing.assert_allclose(white.white_part(residual), np.linalg.solve(dense, residual), rtol=1e-7, atol=1e-9)


def test_uncertainty_of_a_mean_under_white_noise():
    # Textbook: the mean of n independent readings has u = s / root n, Student t with n - 1 degrees of freedom.
    rng = np.random.default_rng(8)
    y = rng.standard_normal(400)
    fit = walk_fit(np.arange(400.0), y, np.ones((400, 1)))
    assert fit.white.values[0] == pytest.approx(y.mean(), abs=2e-3)
    assert fit.white.covariance[0, 0] ** 0.5 == pytest.approx(y.std(ddof=1) / 20, rel=0.02)


def _nist_terms(name):
    data = reference_set(name)
    order = np.argsort(data.x)
    return data, Terms(data.x[order] - data.x[order][0], data.y[order], np.ones((len(order), 1)))


def test_two_exponentials_against_certified_values():
    # NIST StRD, MGH17: b1 + b2 exp(-b4 x) + b3 exp(-b5 x), x = 0 to 320; independent readings, so the
    # step whose walk is negligible.
    data, terms = _nist_terms("MGH17")
    found = fit_exponentials(terms, 2).white.values
    b1, b2, b3, b4, b5 = data.certified
    level, *amplitudes = found[:3]
    taus = np.exp(found[3:])
    assert level == pytest.approx(b1, rel=3e-4)
    expected = sorted([(1 / b4, b2), (1 / b5, b3)])
    for tau, amplitude, (true_tau, true_amplitude) in zip(taus, amplitudes, expected, strict=True):
        assert tau == pytest.approx(true_tau, rel=3e-4)
        assert amplitude == pytest.approx(true_amplitude, rel=1e-3)


def _log(seed, walk=0.0, n=360, step=20.0):
    rng = np.random.default_rng(seed)
    t = step * np.arange(n)
    wander = np.cumsum(walk * step**0.5 * rng.standard_normal(n))
    f = 64.0 + 0.36 * np.exp(-t / 780.0) + wander + 0.004 * rng.standard_normal(n)
    return pd.DataFrame({"time_s": t, "frequency_mhz": f})


def test_one_exponential_against_curve_fit_with_the_whole_covariance():
    # scipy.optimize.curve_fit with the dense covariance of the most likely step: another program, another algebra.
    table = _log(3, walk=5e-5)
    w = fit_warm_up(table)
    t, f = table["time_s"].to_numpy(), table["frequency_mhz"].to_numpy()
    fit = fit_exponentials(Terms(t, f, np.stack([np.ones_like(t), (t - t[-1]) / 3600], axis=1)), 1)
    best = fit.best
    back = t[-1] - t
    dense = best.variance * (np.eye(len(t)) + best.ratio * np.minimum.outer(back, back))

    def law(x, level, drift, amplitude, log_tau):
        return level + drift * (x - t[-1]) / 3600 + amplitude * np.exp(-x / np.exp(log_tau))

    values, covariance = curve_fit(law, t, f, p0=[64.0, 0.0, 0.3, 6.5], sigma=dense, absolute_sigma=True)
    np.testing.assert_allclose(best.values, values, rtol=2e-4, atol=2e-6)
    np.testing.assert_allclose(np.diag(best.covariance), np.diag(covariance), rtol=2e-3)
    assert w.fit.interval(w.time_constant_s)[0] < 780.0 < w.fit.interval(w.time_constant_s)[1]


def test_stationary_noise_matrix_is_the_one_of_the_differences():
    # The changes of white noise have the tridiagonal covariance 2, -1 (textbook): a check of the whitener's form.
    t = np.arange(6.0)
    white = Whitener.of(t, 0.0)
    changes = np.diff(np.eye(6), axis=0)
    np.testing.assert_allclose(changes @ changes.T, toeplitz([2.0, -1.0, 0, 0, 0]))
    np.testing.assert_allclose(white(np.eye(6)).T @ white(np.eye(6)), np.eye(6), atol=1e-12)


def test_pushing_against_differences_from_the_neighbours():
    # A-B-A by hand: each step less the mean of the reference before and after, least squares through zero (numpy).
    rng = np.random.default_rng(12)
    supply = np.array([15.0, 14.5, 15, 15.5, 15, 14.5, 15, 15.5, 15, 14.75, 15, 15.25, 15])
    t = 30.0 * np.arange(len(supply))
    f = 66.0 + 0.55 * (supply - 15) + 2e-5 * t + 0.002 * rng.standard_normal(len(supply))
    steps = np.arange(1, len(supply), 2)
    difference = f[steps] - (f[steps - 1] + f[steps + 1]) / 2
    by_hand = np.linalg.lstsq((supply[steps] - 15)[:, None], difference, rcond=None)[0][0]
    p = fit_pushing(pd.DataFrame({"time_s": t, "supply_v": supply, "frequency_mhz": f}))
    assert p.mhz_per_v.n == pytest.approx(by_hand, abs=1.5 * p.mhz_per_v.s)
    assert abs(p.mhz_per_v.n - 0.55) < p.fit.coverage_factor(0.99) * p.mhz_per_v.s
    assert p.mhz_per_v.s < 0.006
