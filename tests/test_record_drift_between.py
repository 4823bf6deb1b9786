"""The fit with an unknown scatter, against the GUM, Student t, known scatter, and integration by brute force."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, special, stats

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.record.drift.between import fit_scattered
from aotf_lab.record.drift.checks import durbin_watson
from tests.house import SHARED


def test_without_stated_errors_it_is_the_thermometer_of_the_gum():
    """JCGM 100:2008 H.3: y1 = -0.1712(29) C, y2 = 0.00218(67), r = -0.930, s = 0.0035 C, 9 degrees of freedom."""
    table = pd.read_csv(SHARED / "gum_h3_data.csv")
    x = np.column_stack([np.ones(11), table["t_k_C"] - 20.0])
    found = fit_scattered(x, table["b_k_C"].to_numpy(), np.full((11, 11), 0.0))
    assert found.dof == 9
    assert found.mean == pytest.approx([-0.1712, 0.00218], abs=5e-5)
    for k, (value, u) in enumerate(((-0.1712, 0.0029), (0.00218, 0.00067))):
        low, high = found.interval(np.eye(2)[k])
        half = special.stdtrit(9, 0.975) * u
        assert (low, high) == pytest.approx((value - half, value + half), abs=0.02 * half)
    c = found.covariance[found.typical]
    assert c[0, 1] / np.sqrt(c[0, 0] * c[1, 1]) == pytest.approx(-0.930, abs=5e-4)
    assert found.scatter[found.typical] == pytest.approx(0.0035, rel=0.06)  # the median lies above s


@pytest.mark.parametrize("records", [2, 3, 5, 40])
def test_without_stated_errors_intervals_are_student_t(records):
    y = np.random.default_rng(records).normal(3.0, 0.4, records)
    found = fit_scattered(np.ones((records, 1)), y, 1e-12 * np.eye(records))
    for confidence in (0.6827, 0.95):
        low, high = stats.t.interval(confidence, records - 1, y.mean(), y.std(ddof=1) / records**0.5)
        assert found.interval(np.ones(1), confidence=confidence) == pytest.approx((low, high), rel=2e-3)


def test_many_records_without_more_scatter_are_weighted_least_squares():
    rng, n = np.random.default_rng(3), 400
    u = rng.uniform(0.5, 2.0, n)
    x = np.column_stack([np.ones(n), rng.uniform(-1, 1, n)])
    y = x @ [1.0, 2.0] + u * rng.standard_normal(n)
    found = fit_scattered(x, y, np.diag(u**2))
    inner = np.linalg.inv(x.T @ (x / u[:, None] ** 2))
    assert found.mean == pytest.approx(inner @ x.T @ (y / u**2), abs=0.2 * inner[0, 0] ** 0.5)
    assert found.u_of(np.array([0.0, 1.0])) == pytest.approx(inner[1, 1] ** 0.5, rel=0.05)


def test_interval_is_that_of_integration_by_brute_force():
    """The mean of four values with unlike errors: the double integral of prior times likelihood, by scipy's quad."""
    y, u = np.array([1.0, 2.5, 0.2, 1.9]), np.array([0.3, 0.9, 0.5, 0.2])

    def density(s: float, limit: float | None) -> float:
        w = 1.0 / (u**2 + s**2)
        middle, spread = w @ y / w.sum(), w.sum() ** -0.5
        projector = np.diag(w) - np.outer(w, w) / w.sum()
        prior = np.sqrt(np.trace(projector @ projector)) * s
        likelihood = np.sqrt(np.prod(w) / w.sum()) * np.exp(-0.5 * y @ projector @ y)
        return prior * likelihood * (1.0 if limit is None else stats.norm.cdf(limit, middle, spread))

    def total(limit: float | None) -> float:
        return sum(integrate.quad(density, a, b, args=(limit,), limit=200)[0] for a, b in ((0, 1), (1, 10), (10, 3000)))

    low, high = fit_scattered(np.ones((4, 1)), y, np.diag(u**2)).interval(np.ones(1))
    assert total(low) / total(None) == pytest.approx(0.025, abs=2e-4)
    assert total(high) / total(None) == pytest.approx(0.975, abs=2e-4)


def test_known_term_counts_as_one_more_reading():
    """Where the stated errors rule, the known slope is a reading with its own weight: least squares with one row more."""
    rng, n = np.random.default_rng(8), 300
    x = np.column_stack([np.ones(n), rng.uniform(0, 1, n)])
    y = x @ [1.0, 2.0] + rng.standard_normal(n)
    found = fit_scattered(x, y, np.eye(n), ((1, 2.6, 0.1),))
    rows, z = np.vstack([x, [0.0, 10.0]]), np.append(y, 26.0)
    assert found.mean == pytest.approx(np.linalg.lstsq(rows, z, rcond=None)[0], abs=0.01)
    assert found.dof == n - 1


def test_correlated_errors_weigh_as_generalised_least_squares():
    rng, n = np.random.default_rng(9), 200
    day = np.repeat(np.arange(n // 2), 2)
    covariance = np.where(day[:, None] == day[None, :], 1.0, 0.0) + 0.1 * np.eye(n)
    x = np.column_stack([np.ones(n), np.linspace(-1, 1, n)])
    y = np.linalg.cholesky(covariance) @ rng.standard_normal(n)
    inverse = np.linalg.inv(covariance)
    inner = np.linalg.inv(x.T @ inverse @ x)
    found = fit_scattered(x, y, covariance)
    assert found.mean == pytest.approx(inner @ x.T @ inverse @ y, abs=0.05 * inner[1, 1] ** 0.5)
    assert found.u_of(np.array([0.0, 1.0])) == pytest.approx(inner[1, 1] ** 0.5, rel=0.05)


def test_refuses_too_few_and_a_confidence_that_is_none():
    with pytest.raises(ReadingsError, match="too few records for these terms; found 2; allowed: at least 3"):
        fit_scattered(np.array([[1.0, 0.0], [1.0, 1.0]]), np.zeros(2), np.eye(2))
    found = fit_scattered(np.ones((3, 1)), np.array([1.0, 2.0, 4.0]), np.eye(3))
    with pytest.raises(AotfLabError, match="coverage probability; found 1.0"):
        found.interval(np.ones(1), confidence=1.0)


def test_durbin_watson_chance_is_that_of_simulated_series():
    rng = np.random.default_rng(4)
    x = np.column_stack([np.ones(15), np.arange(15.0)])
    drawn = [durbin_watson(x, rng.standard_normal(15)) for _ in range(4000)]
    chances = np.array([chance for _, chance in drawn])
    for level in (0.01, 0.05, 0.5):
        assert np.mean(chances < level) == pytest.approx(level, abs=4 * (level * (1 - level) / 4000) ** 0.5)


def test_durbin_watson_limit_lies_between_those_of_the_table():
    """n = 15, one slope, 5 %: dL = 1.08, dU = 1.36 (Durbin and Watson, Biometrika 38, 159 (1951); from memory)."""
    rng = np.random.default_rng(6)
    x = np.column_stack([np.ones(15), np.arange(15.0)])
    drawn = sorted(durbin_watson(x, np.cumsum(rng.standard_normal(15))) for _ in range(500))
    limit = np.interp(0.05, [c for _, c in drawn], [r for r, _ in drawn])
    assert 1.08 <= limit <= 1.36
