"""Intervals that need not be symmetric: how far a parameter can move before chi-square objects."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from aotf_lab.errors import FitError
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import Parameter, Problem
from aotf_lab.estimation.solver import solve

__all__ = ["profile_interval"]


def profile_interval(problem: Problem, fit: Fit, name: str, confidence: float = 0.95) -> tuple[float, float]:
    """Return the profile-likelihood interval of parameter ``name`` at ``confidence``.

    The other parameters are fitted anew at every trial value (Venzon & Moolgavkar, Appl. Statist.
    37, 87 (1988)). An end that chi-square never reaches is the parameter's own bound, or infinite.
    """
    names = [p.name for p in problem.parameters]
    k = names.index(name)
    parameter = problem.parameters[k]
    best, sigma = float(fit.values[k]), float(np.sqrt(fit.covariance[k, k]))
    reach = (fit.coverage_factor(confidence) * fit.birge) ** 2
    warm = list(fit.values)

    def excess(trial: float) -> float:
        started = tuple(
            replace(p, start=float(np.clip(v, p.low, p.high))) for p, v in zip(problem.parameters, warm, strict=True)
        )
        try:
            solution = solve(replace(problem, parameters=started), fixed={name: trial})
        except FitError:
            return np.inf
        return solution.sum_squares - minimum - reach

    minimum = float(np.sum(problem.residual(fit.values) ** 2))
    return _end(excess, parameter, best, -sigma), _end(excess, parameter, best, sigma)


def _end(excess: Callable[[float], float], parameter: Parameter, best: float, step: float) -> float:
    """Walk from ``best`` in steps that grow until chi-square objects, then close in."""
    limit = parameter.high if step > 0 else parameter.low
    inside, width = best, step
    for _ in range(30):
        trial = best + width
        if (trial - limit) * step >= 0:
            trial = limit
        if not np.isfinite(trial):
            return limit
        value = excess(trial)
        if value > 0:
            return float(brentq(excess, inside, trial, xtol=1e-4 * abs(step))) if np.isfinite(value) else trial
        if trial == limit:
            return limit
        inside, width = trial, width * 1.6
    return limit
