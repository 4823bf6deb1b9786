"""How much wander the scatter asks for.

Outside: yields of dyestuff from six batches of five (Davies & Goldsmith, Statistical Methods in Research and
Production (1972), data from memory). For balanced data the restricted likelihood gives the variance components of the
analysis of variance (Searle, Casella & McCulloch, Variance Components (1992)): 49.5 within and 42.0 between batches.
"""

import numpy as np
import pytest

from aotf_lab.crystal.scan.likelihood import LARGEST, likely_wander

YIELDS = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)
THOUSANDTHS = (YIELDS.ravel() - 1500.0) / 1000.0
BATCHES = np.kron(np.eye(6), np.ones((5, 5)))
GRID = 1.12
"""Half of the step between the sizes that are tried, as a factor."""


def test_variance_components_of_the_dyestuff_yields():
    within = np.sum((YIELDS - YIELDS.mean(axis=1, keepdims=True)) ** 2) / 24
    between = (5 * np.var(YIELDS.mean(axis=1), ddof=1) - within) / 5
    assert within**0.5 == pytest.approx(49.51, abs=0.005)
    assert between**0.5 == pytest.approx(42.00, abs=0.005)
    found = likely_wander(THOUSANDTHS, np.ones((30, 1)), [BATCHES], known=False)
    assert 0.04200 / GRID < found.size < 0.04200 * GRID
    assert found.gain > 0


def test_with_the_scatter_known_the_rest_is_wander():
    found = likely_wander(THOUSANDTHS / 0.04951, np.ones((30, 1)), [BATCHES / 0.04951**2], known=True)
    assert found.level == pytest.approx(1.0)
    assert 0.04200 / GRID < found.size < 0.04200 * GRID


def test_no_wander_beyond_the_largest_that_is_thought_of():
    found = likely_wander(1e3 * THOUSANDTHS, np.ones((30, 1)), [BATCHES], known=True)
    assert found.size <= LARGEST
    assert sum(found.variances) <= LARGEST**2


def test_scatter_as_stated_asks_for_no_wander():
    rng = np.random.default_rng(4)
    kinds = [np.diag(np.linspace(0.0, 2.0, 60) * 100.0**2)]
    found = [likely_wander(rng.normal(size=60), np.ones((60, 1)), kinds, known=True) for _ in range(20)]
    assert np.median([w.size for w in found]) < 2e-3
    assert all(sum(w.variances) < 0.01**2 for w in found)


def test_a_real_wander_is_found():
    rng = np.random.default_rng(5)
    spread = 1.0 + (0.03 * 100.0) ** 2
    kinds = [np.eye(200) * 100.0**2, np.diag(np.arange(200.0))]
    found = likely_wander(spread**0.5 * rng.normal(size=200), np.ones((200, 1)), kinds, known=True)
    assert found.size == pytest.approx(0.03, rel=0.2)
    assert found.variances[0] > found.variances[1]
