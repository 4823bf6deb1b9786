"""The weighted fit: from a problem to parameters with a budget.

Convention for errors in both variables: the effective variance is evaluated at every step of the
search, and the covariance is the inverse Fisher information at the adjusted points (York et al.,
Am. J. Phys. 72, 367 (2004); ISO/TS 28037:2010). For a straight line this is the exact least-squares
distance. A curve it takes as straight over the width of u_x: on a varactor's curve (curvature over
slope up to 1.2 per V) with u_x = 4 mV this moves the parameters by 0.004 of their standard uncertainty,
with 40 mV by 0.04, against odrpack's orthogonal distance (tests/published/test_estimation_references.py).
So a fit with the true settings as further unknowns is not offered.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.describe import describe, scatter_variables
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, Model, Parameter, Problem
from aotf_lab.estimation.restarts import deepest
from aotf_lab.estimation.solver import solve, started_at

__all__ = ["fit_problem", "scatter_variables", "weighted_fit"]


def weighted_fit(
    model: Model,
    parameters: Sequence[Parameter],
    x: Any,
    y: FloatArray,
    u_y: FloatArray | float | None,
    *,
    u_x: FloatArray | float | None = None,
    scatter: str = "the readings",
    places: Sequence[str] = (),
) -> Fit:
    """Fit ``model(x, *values)`` to ``y`` and return the ``Fit``.

    See ``Problem`` for shapes and errors; scalars are spread over the rows. Raises
    ``ReadingsError`` when there are fewer readings and priors than parameters, ``FitError`` when
    the fit does not converge or the readings leave a parameter free.

    >>> line = weighted_fit(lambda x, a, b: a + b * x, [Parameter("a", 0.0), Parameter("b", 1.0)],
    ...                     np.array([1.0, 2.0, 3.0]), [2.9, 5.1, 7.0], 0.1)
    >>> print(line.parameters["b"])
    2.05+/-0.07
    """
    y = np.asarray(y, dtype=float)
    spread_y = None if u_y is None else np.broadcast_to(np.asarray(u_y, dtype=float), y.shape)
    spread_x = None if u_x is None else np.broadcast_to(np.asarray(u_x, dtype=float), y.shape)
    return fit_problem(Problem(model, tuple(parameters), x, y, spread_y, spread_x, scatter, tuple(places)))


def fit_problem(problem: Problem, *, thorough: bool = True, near: bool = False) -> Fit:
    """Solve ``problem`` and return its ``Fit``; see ``weighted_fit``.

    ``thorough`` looks for a deeper minimum where the result is open to doubt; pass False when the
    problem starts at the known result of one that is nearly the same. ``near``, with ``thorough``
    False and known uncertainties, also spares the search when the start is already within about a
    standard uncertainty.
    """
    needed = max(len(problem.parameters) - len(problem.prior_rows) - len(problem.exact) + (problem.u_y is None), 1)
    if len(problem.y) < needed:
        raise ReadingsError(
            f"too few readings among {problem.scatter}",
            found=len(problem.y),
            allowed=f"at least {needed}",
            cure="measure more, or state the uncertainty of each reading" if problem.u_y is None else "measure more",
        )
    with np.errstate(all="ignore"):
        if problem.u_y is None:
            return _fit_with_unknown_noise(problem, thorough=thorough)
        solution, found = deepest(problem, u_known=True) if thorough else (solve(problem, near=near), None)
        return describe(problem, solution, None, found)


def _fit_with_unknown_noise(problem: Problem, *, thorough: bool) -> Fit:
    """Fit with the noise of one reading that makes chi-square equal to its degrees of freedom.

    Readings without any scatter are taken as rounded to nine digits.
    """
    rounding = 1e-9 * float(np.max(np.abs(problem.y))) or 1e-300
    depends = len(problem.prior_rows) > 0 or problem.u_x is not None
    noise = max(0.01 * float(np.ptp(problem.y)), rounding)
    trial = replace(problem, u_y=np.full_like(problem.y, noise)) if depends else problem
    solution, found = deepest(trial, u_known=False) if thorough else (solve(trial), None)
    for _ in range(100):
        trial = replace(started_at(problem, solution.values), u_y=np.full_like(problem.y, noise))
        if depends:
            solution = solve(trial, near=True)
        fit = describe(trial, solution, noise, found)
        excess = fit.chi2 / fit.dof - 1
        typical = float(np.mean(trial.spread(solution.values) ** -2.0) ** -0.5)
        better = float(np.sqrt(max(noise**2 + excess * typical**2, (1e-3 * noise) ** 2, rounding**2)))
        if abs(better - noise) < 1e-9 * noise or (problem.u_x is not None and better < 1e-3 * typical):
            break
        noise = better
    return fit
