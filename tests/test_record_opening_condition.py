"""The update of kept numbers against scikit-learn, least squares by numpy, a textbook, and many draws."""

import numpy as np
import pytest
from scipy import stats
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import RBF, ConstantKernel
from uncertainties import ufloat

from aotf_lab.record.opening.condition import Innovation, conditioned, innovation, with_doubt
from aotf_lab.record.opening.judge import judged
from aotf_lab.record.stored import StoredNumbers, stored_numbers


def numbers(values, rest, causes=None):
    names = tuple(f"n{k}" for k in range(len(values)))
    return StoredNumbers(names, np.array(values, dtype=float), causes or {}, np.array(rest, dtype=float))


def test_it_is_the_posterior_of_a_gaussian_process():
    """Rasmussen and Williams (2006), eq. 2.23 and 2.24, as scikit-learn computes them (their algorithm 2.1)."""
    rng = np.random.default_rng(3)
    places = np.linspace(0.0, 10.0, 15)[:, None]
    kernel = ConstantKernel(2.0, "fixed") * RBF(3.0, "fixed")
    prior = numbers(np.zeros(15), kernel(places))
    seen, u = [2, 7, 12], 0.3
    told = rng.normal(0.0, 1.0, 3)
    after = conditioned(prior, np.eye(15)[seen], numbers(told, u**2 * np.eye(3)))
    reference = GaussianProcessRegressor(kernel, alpha=u**2, optimizer=None).fit(places[seen], told)
    mean, covariance = reference.predict(places, return_cov=True)
    assert after.values == pytest.approx(mean, abs=1e-10)
    assert after.covariance() == pytest.approx(covariance, abs=1e-10)


def test_it_is_least_squares_of_the_kept_numbers_and_the_readings_together():
    """Gauss: numbers known beforehand are readings of themselves (numpy.linalg.lstsq on both, each whitened)."""
    rng = np.random.default_rng(4)
    half = rng.normal(size=(6, 6))
    kept, rows = numbers(rng.normal(size=6), half @ half.T + np.eye(6)), rng.normal(size=(3, 6))
    told = numbers(rng.normal(size=3), np.diag([0.5, 0.1, 2.0]) + 0.05)
    a = np.concatenate(
        [np.linalg.inv(np.linalg.cholesky(c)) @ m for c, m in ((kept.rest, np.eye(6)), (told.rest, rows))]
    )
    b = np.concatenate([np.linalg.inv(np.linalg.cholesky(n.rest)) @ n.values for n in (kept, told)])
    after = conditioned(kept, rows, told)
    assert after.values == pytest.approx(np.linalg.lstsq(a, b)[0], abs=1e-10)
    assert after.covariance() == pytest.approx(np.linalg.inv(a.T @ a), abs=1e-10)


def test_two_sightings_make_one_better_one():
    """Two measurements of a position, weighted by inverse variance: Maybeck (1979), eq. 1-3 and 1-4, from memory."""
    after = conditioned(numbers([30.0], [[4.0]]), np.eye(1), numbers([36.0], [[1.0]]))
    assert after.values == pytest.approx([30.0 * 1 / 5 + 36.0 * 4 / 5])
    assert after.rest == pytest.approx(np.array([[1 / (1 / 4 + 1 / 1)]]))


def test_an_instrument_that_both_share_is_neither_learnt_nor_counted_twice():
    """One counter: its time base drops out of the gap, stays in the numbers, and 200,000 draws agree with the u."""
    base = np.array([50e-4, 80e-4])
    kept = numbers([50.0, 80.0], np.diag([4e-6, 4e-6]), {"counter": base})
    told = StoredNumbers(("today",), np.array([50.02]), {"counter": base[:1]}, np.array([[1e-6]]))
    rows = np.eye(2)[:1]
    new = innovation(kept, rows, told)
    assert new.covariance == pytest.approx(np.array([[5e-6]]))
    after = conditioned(with_doubt(kept, np.array([[0.1], [0.1]])), rows, told)
    assert after.causes["counter"] == pytest.approx(base, rel=1e-4)
    rng, n = np.random.default_rng(5), 200_000
    drift, counter = 0.1 * rng.normal(size=n), rng.normal(size=n)
    truth = kept.values[:, None] + drift
    seen = kept.values[:, None] + base[:, None] * counter + 2e-3 * rng.normal(size=(2, n))
    today = truth[0] + base[0] * counter + 1e-3 * rng.normal(size=n)
    gain = (after.values - kept.values) / 0.02
    errors = seen + gain[:, None] * (today - seen[0]) - truth
    assert np.cov(errors) == pytest.approx(after.covariance(), rel=0.03)


def test_another_counter_counts_with_both():
    kept = numbers([50.0], [[1e-6]], {"counter time base@one": np.array([1e-3])})
    told = stored_numbers(
        {"today": ufloat(50.0, 1e-3) * (1 + ufloat(0.0, 4e-5, tag="counter time base"))},
        common={"counter time base": "counter time base@two"},
    )
    new = innovation(kept, np.eye(1), told)
    assert new.covariance[0, 0] == pytest.approx(2e-6 + 1e-6 + 4e-6)
    assert set(new.causes) == {"counter time base@one", "counter time base@two"}


def innovation_of(gap, u):
    return Innovation(np.array(gap), np.diag(np.square(u)), (), np.zeros((len(gap), 0)))


def columns(x):
    return np.stack([np.ones(len(x)), np.array(x)], axis=1)


def test_shift_and_tilt_are_those_of_a_weighted_line():
    """numpy.polyfit with weights 1/u and the unscaled covariance; the limit is scipy's chi-square at 0.2 %."""
    x, u = [-0.9, -0.1, 0.4, 0.9], np.array([9.0, 8.0, 8.0, 11.0])
    gap = 60.0 + 45.0 * np.array(x) + [2.0, -3.0, 1.0, 2.0]
    found = judged(innovation_of(gap, u), columns(x))
    coefficients, covariance = np.polyfit(x, gap, 1, w=1 / u, cov="unscaled")
    assert found.sizes == pytest.approx(coefficients[::-1])
    assert found.u == pytest.approx(np.sqrt(np.diag(covariance))[::-1])
    assert found.chi2 == pytest.approx(np.sum(((gap - np.polyval(coefficients, x)) / u) ** 2))
    assert found.limit == pytest.approx(stats.chi2.isf(0.002, 2))
    assert found.same_shape
    assert found.moved


@pytest.mark.parametrize(
    ("gap", "terms", "moved", "same"),
    [
        ([5.0, -4.0, 2.0], 1, False, True),  # scatter
        ([60.0, 55.0, 63.0], 1, True, True),  # all moved
        ([20.0, 60.0, 100.0], 2, True, True),  # a tilt on top, smaller than the shift
        ([-60.0, 0.0, 60.0], 1, True, False),  # about the middle: no drift does that
        ([60.0, 0.0, 60.0], 1, True, False),  # bent
    ],
)
def test_a_shift_a_tilt_and_a_change_of_shape(gap, terms, moved, same):
    found = judged(innovation_of(gap, [8.0, 8.0, 8.0]), columns([-0.8, 0.0, 0.8]))
    assert (len(found.sizes), found.moved, found.same_shape) == (terms, moved, same)


def test_the_one_wrong_reading_is_found():
    found = judged(innovation_of([3.0, 80.0, -2.0], [8.0] * 3), columns([-0.8, 0.0, 0.8]))
    assert found.odd == 1
    assert judged(innovation_of([0.0, 80.0], [8.0] * 2), columns([-0.8, 0.8])).odd is None


def test_false_alarms_are_as_rare_as_the_significance_says():
    """Shift (normal) and shape (chi-square) at 0.2 % each, by 10,000 draws: 0.4 % within 4 standard deviations."""
    rng, n = np.random.default_rng(6), 10_000
    u = [9.0, 8.0, 10.0]
    found = [judged(innovation_of(rng.normal(0.0, u), u), columns([-0.8, 0.0, 0.8])) for _ in range(n)]
    assert np.mean([f.moved for f in found]) == pytest.approx(0.004, abs=4 * (0.004 / n) ** 0.5)


def test_caution_widens_the_limits():
    new = innovation_of([30.0], [8.0])
    assert judged(new, columns([0.0])).moved
    assert not judged(new, columns([0.0]), 1.3).moved
