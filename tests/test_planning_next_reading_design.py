"""What one more reading does to a covariance, against block inversion and published optimal designs."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.planning.next_reading.design import after_each, learnt, learnt_exactly


def some_problem(seed: int, readings: int = 9, unknowns: int = 4):
    rng = np.random.default_rng(seed)
    half = rng.standard_normal((unknowns, unknowns))
    return (
        half @ half.T + 0.1 * np.eye(unknowns),
        rng.standard_normal((readings, unknowns)),
        rng.uniform(0.2, 2, readings),
    )


@pytest.mark.parametrize("seed", range(5))
def test_one_reading_adds_its_information(seed):
    # numpy's inverse of the summed information is independent of the rank-one formula
    prior, rows, variances = some_problem(seed)
    expected = np.linalg.inv(np.linalg.inv(prior) + np.outer(rows[0], rows[0]) / variances[0])
    assert learnt(prior, rows[0], variances[0]) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_many_readings_one_after_the_other_are_all_at_once(seed):
    # the conditional covariance of a joint normal by block inversion (Schur complement)
    prior, rows, variances = some_problem(seed)
    joint = rows @ prior @ rows.T + np.diag(variances)
    expected = prior - prior @ rows.T @ np.linalg.solve(joint, rows @ prior)
    assert learnt_exactly(prior, rows, variances) == pytest.approx(expected, rel=1e-8, abs=1e-10)
    backwards = learnt_exactly(prior, rows[::-1], variances[::-1])
    assert backwards == pytest.approx(expected, rel=1e-8, abs=1e-10)


@pytest.mark.parametrize("seed", range(3))
def test_each_alone_is_each_learnt(seed):
    prior, rows, variances = some_problem(seed)
    wanted = np.random.default_rng(seed + 50).standard_normal((2, 4))
    found = after_each(prior, wanted, rows, variances)
    for k in range(len(rows)):
        left = wanted @ learnt(prior, rows[k], variances[k]) @ wanted.T
        assert found[k] == pytest.approx(np.diag(left), rel=1e-9)


def test_readings_without_noise_leave_nothing_and_repeats_of_them_do_no_harm():
    prior, rows, _ = some_problem(1)
    exact = np.concatenate([rows, rows])
    left = learnt_exactly(prior, exact, np.zeros(len(exact)))
    assert np.max(np.abs(left)) < 1e-7 * np.max(np.abs(prior))


def test_an_infinite_noise_teaches_nothing():
    prior, rows, _ = some_problem(2)
    assert learnt(prior, rows[0], np.inf) == pytest.approx(prior)


def greedy(grid, powers, wanted, readings):
    """Return how many of the readings fall on each place of the grid, each chosen to leave least variance."""
    rows = np.stack([grid**p for p in powers], axis=1)
    covariance, counts = 1e6 * np.eye(len(powers)), np.zeros(len(grid), dtype=int)
    for _ in range(readings):
        left = after_each(covariance, wanted, rows, np.ones(len(grid)))
        best = int(np.argmin(np.sum(left, axis=1)))
        covariance = learnt(covariance, rows[best], 1.0)
        counts[best] += 1
    return counts


def test_the_slope_of_a_line_asks_for_both_ends():
    # c-optimal for the slope on -1 to 1: half of the readings at either end (Elfving, Ann. Math. Stat. 23, 255 (1952);
    # from memory)
    counts = greedy(np.linspace(-1, 1, 41), (0, 1), np.array([[0.0, 1.0]]), 60)
    assert counts[[0, -1]] == pytest.approx([30, 30], abs=1)


def test_the_square_of_a_parabola_asks_for_a_quarter_a_half_a_quarter():
    # c-optimal for the quadratic coefficient on -1 to 1: weights 1/4, 1/2, 1/4 at -1, 0, 1 (Kiefer and Wolfowitz,
    # Ann. Math. Stat. 30, 271 (1959), Chebyshev's points; from memory)
    counts = greedy(np.linspace(-1, 1, 41), (0, 1, 2), np.array([[0.0, 0.0, 1.0]]), 600)
    assert counts[[0, 20, 40]] / 600 == pytest.approx([0.25, 0.5, 0.25], abs=0.02)


def test_extrapolating_a_line_leans_to_the_near_end():
    # c-optimal for the value at x = 2 from readings on -1 to 1: weights |(x - 1)|, |(x + 1)| over 2 x, 1/4 at -1 and
    # 3/4 at 1 (Hoel and Levine, Ann. Math. Stat. 35, 1553 (1964); from memory)
    counts = greedy(np.linspace(-1, 1, 41), (0, 1), np.array([[1.0, 2.0]]), 200)
    assert counts[[0, 40]] / 200 == pytest.approx([0.25, 0.75], abs=0.02)


def test_all_of_a_parabola_asks_for_thirds():
    # D-optimal for a parabola on -1 to 1: a third each at -1, 0, 1, whose largest variance of prediction is the number
    # of parameters over that of readings (Kiefer and Wolfowitz, Can. J. Math. 12, 363 (1960); from memory)
    grid = np.linspace(-1, 1, 41)
    rows = np.stack([grid**p for p in range(3)], axis=1)
    covariance, counts, readings = 1e6 * np.eye(3), np.zeros(41, dtype=int), 300
    for _ in range(readings):
        best = int(np.argmax(np.einsum("ij,jk,ik->i", rows, covariance, rows)))  # most new information, |S| falls most
        covariance = learnt(covariance, rows[best], 1.0)
        counts[best] += 1
    assert counts[[0, 20, 40]] / readings == pytest.approx([1 / 3] * 3, abs=0.01)
    assert readings * np.max(np.einsum("ij,jk,ik->i", rows, covariance, rows)) == pytest.approx(3, rel=0.02)
