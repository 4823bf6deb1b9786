"""An error of x that counts elsewhere too: the fit moves with its variable, and its own u stays what it was.

Outside: refits with one x moved (finite differences), and Pearson's data with York's weights, whose published result
(York, Earth Planet. Sci. Lett. 5, 320 (1968); York et al., Am. J. Phys. 72, 367 (2004)) is tested elsewhere.
"""

from dataclasses import replace

import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

from aotf_lab.estimation import Parameter, Problem, fit_problem
from aotf_lab.estimation.influence import select_rows

X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
U_X = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0]) ** -0.5
U_Y = np.array([1.0, 1.8, 4.0, 8.0, 20, 20, 70, 70, 100, 500]) ** -0.5


def pearson(**changes):
    def line(x, a, b):
        return a + b * x

    given = {"model": line, "parameters": (Parameter("a", 5.0), Parameter("b", -0.5)), "x": X, "y": Y, "u_y": U_Y,
             "u_x": U_X}  # fmt: skip
    return Problem(**(given | changes))


@pytest.fixture(scope="module")
def causes():
    return tuple(ufloat(x, u, tag=f"x {k}") if k % 2 else None for k, (x, u) in enumerate(zip(X, U_X, strict=True)))


def test_naming_a_cause_changes_no_uncertainty(causes):
    plain, named = fit_problem(pearson()), fit_problem(pearson(x_causes=causes))
    before, after = (covariance_matrix(list(f.parameters.values())) for f in (plain, named))
    assert np.array(after) == pytest.approx(np.array(before), rel=1e-8)
    assert np.array(after) == pytest.approx(named.covariance, rel=1e-8)


def test_it_changes_none_where_the_scatter_is_scaled_up(causes):
    worse = Y + 0.8 * np.tile([1.0, -1.0], 5)
    plain, named = (fit_problem(pearson(y=worse, x_causes=c)) for c in ((), causes))
    assert named.birge > 1.5
    assert np.array(covariance_matrix(list(named.parameters.values()))) == pytest.approx(plain.covariance, rel=1e-8)


def test_the_fit_moves_with_its_cause_as_a_fit_to_another_x_does(causes):
    # readings on the line itself, and small u of x: no second order by residuals or by weights that move
    small = pearson(u_x=1e-3 * U_X, y=5.5 - 0.48 * X)
    moving = {k: ufloat(c.n, 1e-3 * c.s) for k, c in enumerate(causes) if c is not None}
    named = fit_problem(replace(small, x_causes=tuple(moving.get(k) for k in range(len(X)))))
    for k, cause in moving.items():
        ends = []
        for step in (1e-3, -1e-3):
            x = X.copy()
            x[k] += step
            ends.append(fit_problem(replace(small, x=x)).values)
        found = [named.parameters[name].derivatives[cause] for name in ("a", "b")]
        assert found == pytest.approx(list((ends[0] - ends[1]) / 2e-3), rel=5e-3, abs=1e-5)


def test_what_is_asked_at_the_same_x_knows_the_correlation(causes):
    fit = fit_problem(pearson(x_causes=causes))
    slope, x = fit.parameters["b"], causes[9]
    (_, shared), _ = covariance_matrix([fit.parameters["a"] + slope.n * x.n + (slope - slope.n) * x.n, slope.n * x])
    at = fit.parameters["a"] + slope * x
    alone = fit_problem(pearson())
    apart = alone.parameters["a"] + alone.parameters["b"] * x
    assert shared < 0
    assert at.s < apart.s
    assert at.s**2 == pytest.approx(apart.s**2 + 2 * shared, rel=1e-6)


def test_rows_that_are_picked_keep_their_cause(causes):
    picked = select_rows(pearson(x_causes=causes), np.array([1, 2, 3]))
    assert picked.x_causes == (causes[1], None, causes[3])
    assert select_rows(pearson(), np.array([1, 2])).x_causes == ()
