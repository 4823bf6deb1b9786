"""Intervals that need not be symmetric: how far a parameter can move before chi-square objects."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError, FitError, Said
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, Parameter, Problem
from aotf_lab.estimation.solver import solve, started_at

__all__ = ["profile_interval"]


def profile_interval(problem: Problem, fit: Fit, name: str, confidence: float = 0.95) -> tuple[float, float]:
    """Return the profile-likelihood interval of parameter ``name`` at ``confidence``.

    The other parameters are fitted anew at every trial value (Venzon & Moolgavkar, Appl. Statist.
    37, 87 (1988)). An end that chi-square never reaches is the parameter's own bound, or infinite.
    Raises ``AotfLabError`` for an unknown name, ``FitError`` when a deeper minimum than the fit's
    turns up on the way.
    """
    names = [p.name for p in problem.parameters]
    if name not in names:
        raise AotfLabError("no such parameter", found=name, allowed=", ".join(names), cure="use one of these")
    k = names.index(name)
    best, sigma = float(fit.values[k]), float(np.sqrt(fit.covariance[k, k]))
    if sigma == 0:
        return best, best
    if fit.noise is not None:
        problem = replace(problem, u_y=np.full_like(problem.y, fit.noise))
    reach = (fit.coverage_factor(confidence) * fit.birge) ** 2
    minimum = float(np.sum(problem.residual(fit.values) ** 2))
    along = fit.covariance[:, k] / fit.covariance[k, k]
    known: list[tuple[float, FloatArray]] = [(best, fit.values)]

    def excess(trial: float) -> float:
        nearest, values = min(known, key=lambda item: abs(item[0] - trial))
        start = started_at(problem, values + along * (trial - nearest))
        solution = solve(start, {name: trial}, strict=False, near=True)
        rise = solution.sum_squares - minimum
        if rise < -1e-3 - 1e-6 * minimum:
            raise _deeper(problem, name, trial, -rise)
        known.append((trial, solution.values))
        return rise - reach

    parameter = problem.parameters[k]
    with np.errstate(all="ignore"):
        return _end(excess, parameter, best, -sigma), _end(excess, parameter, best, sigma)


def _end(excess: Callable[[float], float], parameter: Parameter, best: float, step: float) -> float:
    """Walk from ``best`` in steps that grow until chi-square objects, then close in."""
    limit = parameter.high if step > 0 else parameter.low
    inside, width = best, step
    for _ in range(30):
        trial = best + width
        if (trial - limit) * step >= 0:
            trial = limit
        if trial == inside:
            return limit
        if excess(trial) > 0:
            return float(brentq(excess, inside, trial, xtol=1e-4 * abs(step)))
        if trial == limit:
            return limit
        inside, width = trial, width * 1.6
    return limit


def _deeper(problem: Problem, name: str, trial: float, depth: float) -> FitError:
    return FitError(
        f"the fit of {problem.scatter} was not at its deepest minimum",
        found=Said(f"a sum of squares lower by {depth:.3g} at {name} = {trial:.6g}"),
        allowed="none lower than the fit's",
        cure=f"start the fit at {name} = {trial:.4g}",
    )
