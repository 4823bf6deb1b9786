"""The weighted fit: from a problem to parameters with a budget.

Convention for errors in both variables: the effective variance is evaluated at every step of the
search, and the covariance is the inverse Fisher information at the adjusted points (York et al.,
Am. J. Phys. 72, 367 (2004); ISO/TS 28037:2010).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.checks import Check, chi2_check, chi2_limit, z_limit
from aotf_lab.estimation.fit import Fit, standardised
from aotf_lab.estimation.problem import FloatArray, Model, Parameter, Problem, differences
from aotf_lab.estimation.solver import Solution, solve, undetermined

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
    """
    y = np.asarray(y, dtype=float)
    spread_y = None if u_y is None else np.broadcast_to(np.asarray(u_y, dtype=float), y.shape)
    spread_x = None if u_x is None else np.broadcast_to(np.asarray(u_x, dtype=float), y.shape)
    return fit_problem(Problem(model, tuple(parameters), x, y, spread_y, spread_x, scatter, tuple(places)))


def fit_problem(problem: Problem) -> Fit:
    """Solve ``problem`` and return its ``Fit``; see ``weighted_fit``."""
    priors = sum(p.prior is not None for p in problem.parameters)
    needed = len(problem.parameters) - priors + (problem.u_y is None)
    if len(problem.y) < needed:
        raise ReadingsError(
            f"too few readings among {problem.scatter}",
            found=len(problem.y),
            allowed=f"at least {needed}",
            cure="measure more, or state the uncertainty of each reading" if problem.u_y is None else "measure more",
        )
    if problem.u_y is not None:
        return _describe(problem, solve(problem), u_known=True)
    return _fit_with_unknown_noise(problem)


def _fit_with_unknown_noise(problem: Problem) -> Fit:
    """Fit with the noise that makes chi-square equal to its degrees of freedom."""
    noise = 1.0
    start = problem
    for _ in range(4):
        solution = solve(start)
        fit = _describe(replace(problem, u_y=np.full_like(problem.y, noise)), solution, u_known=False)
        ratio = (fit.chi2 / fit.dof) ** 0.5
        if not ratio > 0 or abs(ratio - 1) < 1e-6:
            break
        noise *= ratio
        start = replace(problem, u_y=np.full_like(problem.y, noise))
    return _describe(start, solution, u_known=False)


def _describe(problem: Problem, solution: Solution, *, u_known: bool) -> Fit:
    """Return the covariance, budget and checks of a solution."""
    values = solution.values
    gradient, weight = _information(problem, values)
    precision = np.array([0.0 if p.prior is None else p.prior.s**-2 for p in problem.parameters])
    covariance = _inverse(problem, gradient.T @ (weight[:, None] * gradient) + np.diag(precision))
    leverage = weight * np.einsum("ij,jk,ik->i", gradient, covariance, gradient)
    residuals = problem.residual(values)[: len(problem.y)]
    chi2 = float(residuals @ residuals)
    dof = float(len(residuals) - np.sum(leverage))
    birge = (chi2 / dof) ** 0.5 if u_known and dof > 0.5 and chi2 > chi2_limit(dof) else 1.0
    gain = covariance @ gradient.T * weight
    scatter = (gain / weight) @ gain.T * birge**2
    parameters = _propagate(problem, values, covariance * precision, scatter)
    total = scatter + (covariance * precision) @ covariance
    fit = Fit(parameters, values, total, chi2, dof, birge, u_known, residuals, leverage, ())
    return fit.with_checks(*_checks(problem, solution, fit))


def _information(problem: Problem, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return d model / d parameter (n, p) at the adjusted points, and the weights (n,)."""
    x = problem.x
    spread = problem.spread(values)
    if problem.u_x is not None:
        variance_x = problem.u_x**2
        slope = problem.slope(x, values)
        for _ in range(3):
            gap = problem.y - problem.model(x, *values) - slope * (problem.x - x)
            x = problem.x + slope * variance_x * gap / spread**2
            slope = problem.slope(x, values)
            u_y = np.ones_like(problem.y) if problem.u_y is None else problem.u_y
            spread = np.hypot(u_y, slope * problem.u_x)
    gradient = differences(lambda v: np.asarray(problem.model(x, *v)), values, problem.steps(values))
    return gradient, spread**-2.0


def _inverse(problem: Problem, information: FloatArray) -> FloatArray:
    """Return the covariance: the inverse of ``information``, scaled so that conditioning is fair."""
    scale = np.sqrt(np.diag(information))
    names = [p.name for p in problem.parameters]
    if not np.all(scale > 0):
        raise undetermined(problem, [n for n, s in zip(names, scale, strict=True) if not s > 0])
    eigenvalues, vectors = np.linalg.eigh(information / np.outer(scale, scale))
    if eigenvalues[0] < 1e-14 * eigenvalues[-1]:
        raise undetermined(problem, [n for n, v in zip(names, vectors[:, 0], strict=True) if abs(v) > 0.1])
    return np.asarray((vectors / eigenvalues) @ vectors.T / np.outer(scale, scale))


def scatter_variables(covariance: FloatArray, tag: str) -> list[UFloat]:
    """Return zero-mean numbers with this ``covariance`` (p, p), made of independent variables tagged ``tag``."""
    scale = np.sqrt(np.clip(np.diag(covariance), 0, None))
    safe = np.where(scale > 0, scale, 1.0)
    eigenvalues, vectors = np.linalg.eigh(covariance / np.outer(safe, safe))
    keep = eigenvalues > 1e-14 * max(float(eigenvalues[-1]), 1e-300)
    factors = safe[:, None] * vectors[:, keep] * np.sqrt(eigenvalues[keep])
    units = [ufloat(0.0, 1.0, tag=tag) for _ in range(factors.shape[1])]
    return [sum(float(c) * z for c, z in zip(row, units, strict=True)) for row in factors]


def _propagate(problem: Problem, values: FloatArray, from_prior: FloatArray, scatter: FloatArray) -> dict[str, UFloat]:
    """Return the parameters as linear combinations of the priors' variables and the readings' scatter."""
    noise = scatter_variables(scatter, f"scatter of {problem.scatter}")
    result: dict[str, UFloat] = {}
    for k, parameter in enumerate(problem.parameters):
        number = float(values[k]) + noise[k]
        for m, other in enumerate(problem.parameters):
            if other.prior is not None:
                number = number + float(from_prior[k, m]) * (other.prior - other.prior.n)
        result[parameter.name] = number
    return result


def _checks(problem: Problem, solution: Solution, fit: Fit) -> list[Check]:
    """Return the checks that every weighted fit gets."""
    checks = []
    if fit.u_known:
        checks.append(chi2_check(fit.chi2, fit.dof, problem.scatter))
    else:
        detail = f"no uncertainty was stated for {problem.scatter}: estimated from {fit.dof:.3g} degrees of freedom"
        checks.append(Check("stated uncertainty", False, f"{detail}; state the instrument's accuracy"))
    if solution.at_bound:
        detail = f"{', '.join(solution.at_bound)} stopped at a limit of what is physical"
        checks.append(Check("limits", False, f"{detail}; the readings ask for a value beyond it"))
    checks.append(_outlier_check(problem, fit))
    for parameter, value in zip(problem.parameters, fit.values, strict=True):
        if parameter.prior is not None:
            pull = abs(value - parameter.prior.n) / parameter.prior.s
            detail = f"{parameter.name} = {value:.4g}, {pull:.1f} standard uncertainties from what was known before"
            checks.append(Check(f"prior on {parameter.name}", pull <= z_limit(), f"{detail}; limit {z_limit():.1f}"))
    return checks


def _outlier_check(problem: Problem, fit: Fit) -> Check:
    """Return the check that no single reading stands far out."""
    if fit.dof < 0.5:
        return Check("single readings", True, "no degrees of freedom left: an outlier could not be seen")
    sizes = np.abs(standardised(fit)) / fit.birge
    sizes[fit.leverage > 1 - 1e-6] = 0.0
    worst = int(np.argmax(sizes))
    limit = z_limit(len(sizes))
    detail = f"largest residual {sizes[worst]:.1f} standard deviations at {problem.place(worst)}, limit {limit:.1f}"
    passed = bool(sizes[worst] <= limit)
    return Check(
        "single readings", passed, detail if passed else f"{detail}; look at that reading before using the fit"
    )
