"""The fit with an unknown scatter, against the GUM, Student t, known scatter, and integration by brute force."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, special, stats

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.record.drift.between import Known, fit_scattered
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
    c = found.covariance[found.likeliest]
    assert c[0, 1] / np.sqrt(c[0, 0] * c[1, 1]) == pytest.approx(-0.930, abs=5e-4)
    assert found.scatter[found.likeliest] == pytest.approx(0.0035, rel=0.06)  # the median lies above s


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
    """Where the stated errors rule, the known slope is a reading of its own: least squares with one row more."""
    rng, n = np.random.default_rng(8), 300
    x = np.column_stack([np.ones(n), rng.uniform(0, 1, n)])
    y = x @ [1.0, 2.0] + rng.standard_normal(n)
    found = fit_scattered(x, y, np.eye(n), (Known(1, 2.6, 0.1),))
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
    with pytest.raises(AotfLabError, match=r"coverage probability; found 1;"):
        found.interval(np.ones(1), confidence=1.0)


def pure_walk(count=25):
    """Return the rows for records that wander and do not scatter, at the likeliest size of it."""
    rng = np.random.default_rng(11)
    days = np.cumsum(rng.uniform(5, 60, count))
    y = np.cumsum(rng.normal(0, 1.0, count) * np.sqrt(np.diff(days, prepend=0.0) / 30))
    days -= days[-1]
    found = fit_scattered(np.column_stack([np.ones(count), days]), y, 1e-8 * np.eye(count), days=days)
    wanders = next(kind for kind in found.kinds if kind.share > 0.9)
    return days, y, found, wanders, int(np.argmax(wanders.log))


def test_ageing_of_a_walk_is_its_way_over_its_time():
    """Random walk with drift: the estimate is the mean of the steps, last less first over the span, and its u that of
    the walk over the span over the span (any textbook of time series)."""
    days, y, _, walk, best = pure_walk()
    span, gap = np.ptp(days), np.ptp(days) / (len(days) - 1)
    u = walk.scatter[best] * (span / gap) ** 0.5 / span
    assert walk.values[best, 1] == pytest.approx((y[-1] - y[0]) / span, abs=0.1 * u)
    assert walk.covariance[best, 1, 1] ** 0.5 == pytest.approx(u, rel=0.05)


def test_later_is_what_dense_generalised_least_squares_predict():
    """Kriging with the walk counted from the first record and an offset of its own, by plain linear algebra."""
    days, y, found, walk, best = pure_walk()
    n, ahead, s2, r = len(days), 45.0, walk.scatter[best] ** 2, walk.share
    gap, x, at = np.ptp(days) / (n - 1), np.column_stack([np.ones(n), days]), np.array([1.0, ahead])
    since = days - days[0]
    v = s2 * ((1 - r) * np.eye(n) + r * np.minimum.outer(since, since) / gap) + 1e-8 * np.eye(n)
    near, own = s2 * r * since / gap, s2 * (1 - r + r * (since[-1] + ahead) / gap)
    inverse = np.linalg.inv(v)
    inner = np.linalg.inv(x.T @ inverse @ x)
    b = inner @ x.T @ inverse @ y
    left = at - near @ inverse @ x
    mean = at @ b + near @ inverse @ (y - x @ b)
    variance = own - near @ inverse @ near + left @ inner @ left
    expected, scatter, known = (part[best] for part in walk.later(at, *found.wander.covariance_at(ahead)))
    assert expected == pytest.approx(mean, rel=1e-6)
    assert scatter + known == pytest.approx(variance, rel=1e-6)
