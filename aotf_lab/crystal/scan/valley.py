"""How far two passbands may lie from where their fit puts them.

Where drive or lean are fitted too, separation, share and width stand in for each other along a curved valley of
chi-square, longer than the curvature at its floor says. It is walked along the separation.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.errors import FitError
from aotf_lab.estimation.describe import scatter_variables
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.solver import solve, started_at

__all__ = ["Valley", "walk"]

_STEP, _GROWTH, _STEPS = 0.8, 1.25, 14
"""First step in standard uncertainties of the separation, how steps grow, and how many are made each way at most."""

_HIGH = 10.0
"""Rise of chi-square at which the walk ends: a share of 0.007 of the likelihood at the floor."""

_MERGED = 0.1
"""Separation (FWHM) below which two passbands are one."""


@dataclass(frozen=True)
class Valley:
    """What the walk saw: ``parameters`` with the valley's length in their uncertainty, and the ``deepest`` values (p,).

    ``depth`` is by how much chi-square is lower there than at the fit.
    """

    parameters: Mapping[str, UFloat]
    deepest: FloatArray
    depth: float


@dataclass(frozen=True)
class _Place:
    """A point of the valley: ``values`` (p,), the ``rise`` of chi-square, the covariance (p, p) across the valley."""

    values: FloatArray
    rise: float
    across: FloatArray


def walk(solution: ScanSolution) -> Valley:
    """Return the parameters of a fit with two passbands, as far off as the likelihood along the valley lets them be.

    Their variance becomes the mean square distance from the fit, weighted by the profile likelihood of the separation
    (Venzon & Moolgavkar, Appl. Statist. 37, 87 (1988)); it is never less than that of the fit.
    """
    fit, k = solution.fit, solution.model.place["separation_mhz"]
    floor = _Place(fit.values, 0.0, _across(solution.problem, fit.values, k))
    places = [*reversed(_walked(solution, k, -1.0)), floor, *_walked(solution, k, 1.0)]
    at = np.array([p.values[k] for p in places])
    rise = np.array([p.rise for p in places])
    weight = np.exp(-0.5 * (rise - rise.min()) / fit.birge**2) * np.gradient(at) if len(at) > 1 else np.ones(1)
    weight /= weight.sum()
    away = np.array([p.values - fit.values for p in places])
    across = np.array([p.across for p in places]) * fit.birge**2
    square = np.einsum("i,ij,ik->jk", weight, away, away) + np.tensordot(weight, across, 1)
    beyond = scatter_variables(_positive(square - fit.covariance, np.diag(fit.covariance)), "two passbands, told apart")
    widened = {name: value + more for (name, value), more in zip(fit.parameters.items(), beyond, strict=True)}
    lowest = min(places, key=lambda p: p.rise)
    return Valley(widened, lowest.values, -lowest.rise)


def _walked(solution: ScanSolution, k: int, way: float) -> list[_Place]:
    """Return the points of the valley on one side of the fit, the nearest first."""
    problem, fit = solution.problem, solution.fit
    least = float(np.sum(problem.residual(fit.values) ** 2))
    step, merged = way * _STEP * float(fit.covariance[k, k]) ** 0.5, _MERGED * float(fit.values[1])
    before, here = fit.values, fit.values
    slope = fit.covariance[:, k] / fit.covariance[k, k]
    found: list[_Place] = []
    for _ in range(_STEPS):
        trial = float(here[k]) + step
        if trial * fit.values[k] <= 0 or abs(trial) < merged or not problem.low[k] < trial < problem.high[k]:
            break
        try:
            solved = solve(started_at(problem, here + slope * step), {"separation_mhz": trial}, strict=False, near=True)
        except FitError:
            break
        rise = solved.sum_squares - least
        before, here = here, solved.values
        slope = (here - before) / (here[k] - before[k])
        found.append(_Place(here, rise, _across(problem, here, k)))
        if rise > _HIGH * fit.birge**2:
            break
        step *= _GROWTH
    return found


def _across(problem: Problem, values: FloatArray, k: int) -> FloatArray:
    """Return the covariance (p, p) of the parameters at ``values`` with parameter ``k`` held."""
    free = [j for j in range(len(values)) if j != k]
    jacobian = problem.jacobian(problem.residual, values)[:, free]
    size = np.linalg.norm(jacobian, axis=0)
    size = np.where(size > 0, size, 1.0)
    covariance = np.zeros((len(values), len(values)))
    inverse = np.linalg.pinv(jacobian / size)
    covariance[np.ix_(free, free)] = (inverse @ inverse.T) / np.outer(size, size)
    return covariance


def _positive(matrix: FloatArray, variance: FloatArray) -> FloatArray:
    """Return the nearest covariance (p, p) to a symmetric matrix, each parameter over its ``variance`` (p,)."""
    scale = np.sqrt(np.maximum(variance, 1e-300))
    eigenvalues, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    return np.asarray((vectors * np.maximum(eigenvalues, 0.0)) @ vectors.T * np.outer(scale, scale))
