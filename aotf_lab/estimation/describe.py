"""From a minimum to a result: covariance, the causes behind it, degrees of freedom and checks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat

from aotf_lab.estimation.checks import Check, chi2_limit
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.fit_checks import fit_checks
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.solver import Solution
from aotf_lab.estimation.undetermined import singular_names, undetermined

__all__ = ["describe", "scatter_variables"]


def describe(problem: Problem, solution: Solution, noise: float | None, found: Check | None = None) -> Fit:
    """Return the ``Fit`` of ``solution``.

    ``noise`` is the standard uncertainty of one reading where it was estimated from the scatter
    (``problem.u_y`` holds it then), None where uncertainties were stated. ``found`` is the check
    on the search. Raises ``FitError`` when the readings do not tell some parameters apart.
    """
    values = solution.values
    free = np.array([p.name not in problem.exact for p in problem.parameters])
    gradient, weight = information(problem, solution)
    gradient = np.where(free, gradient, 0.0)
    covariance, condition = _covariance(problem, gradient, weight, free)
    residuals = problem.residual(values)[: len(problem.y)]
    leverage = weight * np.einsum("ij,jk,ik->i", gradient, covariance, gradient)
    chi2 = float(residuals @ residuals)
    dof = float(len(residuals) - np.sum(leverage))
    birge = (chi2 / dof) ** 0.5 if noise is None and dof > 0.5 and chi2 > chi2_limit(dof) else 1.0
    from_readings = covariance @ gradient.T * np.sqrt(weight)
    scatter = from_readings @ from_readings.T * birge**2
    from_priors = covariance @ problem.prior_rows.T
    parameters = _propagate(
        problem, values, from_priors @ problem.prior_rows, scatter, _by_x(problem, solution, from_readings)
    )
    fit = Fit(
        parameters, values, scatter + from_priors @ from_priors.T, chi2, dof, birge, noise is None, residuals,
        leverage, (), noise, np.stack([problem.low, problem.high]),
    )  # fmt: skip
    pulls = _prior_pull_u(problem, scatter, from_priors)
    return fit.with_checks(*fit_checks(problem, solution, fit, pulls, condition), *([found] if found else []))


def information(problem: Problem, solution: Solution) -> tuple[FloatArray, FloatArray]:
    """Return d model / d parameter (n, p) at the adjusted points, and the weights (n,)."""
    x, values = problem.x, solution.values
    spread = problem.spread(values)
    if problem.u_x is not None:
        variance_x = problem.u_x**2
        slope = problem.slope(x, values)
        u_y = np.ones_like(problem.y) if problem.u_y is None else problem.u_y
        for _ in range(3):
            gap = problem.y - problem.model(x, *values) - slope * (problem.x - x)
            x = problem.x + slope * variance_x * gap / spread**2
            slope = problem.slope(x, values)
            spread = np.hypot(u_y, slope * problem.u_x)
    gradient = problem.jacobian(lambda v: np.asarray(problem.model(x, *v), dtype=float), values, solution.steps)
    return gradient, spread**-2.0


def _covariance(
    problem: Problem, gradient: FloatArray, weight: FloatArray, free: NDArray[np.bool_]
) -> tuple[FloatArray, float]:
    """Return the inverse Fisher information (p, p), zero for held parameters, and how singular it nearly was."""
    names = [p.name for p, f in zip(problem.parameters, free, strict=True) if f]
    covariance = np.zeros((len(free), len(free)))
    if not names:
        return covariance, 1.0
    rows = np.vstack([np.sqrt(weight)[:, None] * gradient, problem.prior_rows])[:, free]
    norms = np.linalg.norm(rows, axis=0)
    if not np.isfinite(rows).all() or not np.all(norms > 0):
        raise undetermined(problem, [n for n, size in zip(names, norms, strict=True) if not size > 0] or names)
    _, s, vt = np.linalg.svd(rows / norms, full_matrices=False)
    if doubtful := singular_names(names, s, vt):
        raise undetermined(problem, doubtful)
    half = vt.T / s / norms[:, None]
    covariance[np.ix_(free, free)] = half @ half.T
    return covariance, float(s[0] / s[-1])


def scatter_variables(covariance: FloatArray, tag: str) -> list[UFloat]:
    """Return zero-mean numbers with this ``covariance`` (p, p), made of independent variables tagged ``tag``."""
    scale = np.sqrt(np.clip(np.diag(covariance), 0, None))
    safe = np.where(scale > 0, scale, 1.0)
    eigenvalues, vectors = np.linalg.eigh(covariance / np.outer(safe, safe))
    keep = eigenvalues > 1e-14 * max(float(eigenvalues[-1]), 1e-300)
    if not keep.any():
        keep[-1:] = True
    factors = safe[:, None] * vectors[:, keep] * np.sqrt(np.clip(eigenvalues[keep], 0, None))
    units = [ufloat(0.0, 1.0, tag=tag) for _ in range(factors.shape[1])]
    return [sum(float(c) * z for c, z in zip(row, units, strict=True)) for row in factors]


def _by_x(problem: Problem, solution: Solution, from_readings: FloatArray) -> list[tuple[UFloat, FloatArray]]:
    """Return each cause of an error of x with what it does (p,) to the parameters per unit of x.

    ``from_readings`` (p, n) is their change by each standardised residual, which falls by slope / spread per unit of x.
    """
    if problem.u_x is None:
        return []
    per_x = -from_readings * problem.slope(problem.x, solution.values) / problem.spread(solution.values)
    return [(cause, per_x[:, i]) for i, cause in enumerate(problem.x_causes) if cause is not None and cause.s > 0]


def _propagate(
    problem: Problem, values: FloatArray, from_prior: FloatArray, scatter: FloatArray,
    by_x: list[tuple[UFloat, FloatArray]],
) -> dict[str, UFloat]:  # fmt: skip
    """Return the parameters as linear combinations of the priors' variables, the causes in x and the scatter."""
    named = sum((np.outer(change, change) * cause.s**2 for cause, change in by_x), np.zeros_like(scatter))
    noise = scatter_variables(scatter - named, f"scatter of {problem.scatter}")
    uncertain = [
        (m, p.prior - p.prior.n) for m, p in enumerate(problem.parameters) if p.prior is not None and p.prior.s > 0
    ]
    result: dict[str, UFloat] = {}
    for k, parameter in enumerate(problem.parameters):
        number = float(values[k]) + noise[k]
        for m, deviation in uncertain:
            number = number + float(from_prior[k, m]) * deviation
        for cause, change in by_x:
            number = number + float(change[k]) * (cause - cause.n)
        result[parameter.name] = number
    return result


def _prior_pull_u(problem: Problem, scatter: FloatArray, from_priors: FloatArray) -> FloatArray:
    """Return the standard uncertainty (p,) of each parameter minus its prior, zero where there is none."""
    rows = problem.prior_rows
    known = np.linalg.pinv(rows.T @ rows, hermitian=True) if len(rows) else np.zeros_like(scatter)
    shift = from_priors @ rows - np.eye(len(scatter))
    return np.asarray(np.sqrt(np.clip(np.diag(scatter + shift @ known @ shift.T), 0, None)))
