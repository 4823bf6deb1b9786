"""The uncertainty of a mean of correlated readings, against the closed form for noise of first order."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from aotf_lab.reading.long.batches import LEVELS, OpenBlock, closed_blocks
from aotf_lab.reading.long.correlation import ScatterStore


def first_order(rho: float, count: int, seed: int) -> np.ndarray:
    """Return noise of unit variance whose neighbours are correlated by ``rho``."""
    start = np.random.default_rng(seed).normal(size=count + 2000)
    return lfilter([np.sqrt(1 - rho**2)], [1, -rho], start)[2000:]


def true_inefficiency(rho: float, n: int) -> float:
    """Return n var(mean) / variance of n readings: G. E. P. Box, G. M. Jenkins and G. C. Reinsel, Time Series
    Analysis, 3rd ed., section 2.1.5: 1 + 2 sum (1 - k/n) rho^k, summed up; from memory."""
    return (1 + rho) / (1 - rho) - 2 * rho * (1 - rho**n) / (n * (1 - rho) ** 2)


def test_closed_form_against_its_own_sum():
    n, rho = 37, 0.8
    direct = 1 + 2 * sum((1 - k / n) * rho**k for k in range(1, n))
    assert true_inefficiency(rho, n) == pytest.approx(direct, rel=1e-12)


def test_variances_of_batches_against_their_definition():
    values, counts = np.random.default_rng(2).normal(size=100), np.array([37, 1, 62])
    scatter = closed_blocks(values, counts)
    ends = np.cumsum(counts)
    for b, (end, n) in enumerate(zip(ends, counts, strict=True)):
        block = values[end - n : end]
        assert scatter.mean[b] == pytest.approx(block.mean(), rel=1e-12)
        for k in range(LEVELS):
            m = n >> k
            if m < 2:
                assert np.isnan(scatter.variance[b, k])
                continue
            means = block[: m << k].reshape(m, -1).mean(axis=1)
            assert scatter.variance[b, k] == pytest.approx(means.var(ddof=1) / m * (m << k) / n, rel=1e-9)


@pytest.mark.parametrize("pieces", [[1000], [1, 2, 3, 994], [333, 0, 333, 334], [1] * 1000])
def test_a_block_that_grows_is_the_same_block(pieces):
    values = 5.0 + np.random.default_rng(3).normal(size=1000)
    growing = OpenBlock()
    for part in np.split(values, np.cumsum(pieces)[:-1]):
        growing.add(part)
    whole, grown = closed_blocks(values, np.array([1000])), growing.close()
    assert grown.mean == pytest.approx(whole.mean, rel=1e-12)
    np.testing.assert_allclose(grown.variance, whole.variance, rtol=1e-9)


@pytest.mark.parametrize(
    ("rho", "n", "blocks", "within"),
    [(0.0, 1000, 2000, 0.05), (0.5, 300, 2000, 0.12), (0.9, 1000, 2000, 0.12), (0.99, 10_000, 500, 0.25)],
)
def test_inefficiency_and_coverage_of_first_order_noise(rho, n, blocks, within):
    """``within`` is some four standard deviations of what so many blocks can tell."""
    store = ScatterStore()
    store.add(closed_blocks(first_order(rho, n * blocks, seed=4), np.full(blocks, n)))
    found = store.result()
    assert found.noise.settled
    assert found.noise.inefficiency == pytest.approx(true_inefficiency(rho, n), rel=within)
    inside = np.mean(np.abs(found.mean) < 1.96 * found.u)
    assert inside == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / blocks))


def test_blocks_shorter_than_the_correlation_say_so():
    store = ScatterStore()
    store.add(closed_blocks(first_order(0.99, 64 * 500, seed=5), np.full(500, 64)))
    assert not store.noise().settled


def test_short_blocks_cannot_tell():
    store = ScatterStore()
    store.add(closed_blocks(first_order(0.0, 8 * 50, seed=6), np.full(50, 8)))
    found = store.result()
    assert np.isnan(found.noise.inefficiency)
    assert found.borrowed.all()
    assert found.u == pytest.approx(np.full(50, found.u[0]), rel=1e-12)
    assert found.u[0] == pytest.approx(8**-0.5, rel=0.2)


def test_a_block_that_drifts_has_a_larger_u_of_its_own():
    noise = first_order(0.0, 100 * 1000, seed=7).reshape(100, 1000)
    noise[42] += np.linspace(-1, 1, 1000)
    store = ScatterStore()
    store.add(closed_blocks(noise.ravel(), np.full(100, 1000)))
    found = store.result()
    assert found.own[42]
    assert found.own.sum() <= 3  # two false alarms in a thousand blocks
    assert found.u[42] > 3 * np.median(found.u)
