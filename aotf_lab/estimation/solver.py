"""Find the parameters that make the residuals smallest, and prove that they do.

lmfit (MINPACK's Levenberg-Marquardt) does the search; a few Gauss-Newton steps with central
differences polish the answer, and the size of the last step, in standard uncertainties, is the
proof of convergence.
"""

from __future__ import annotations

from dataclasses import dataclass

import lmfit
import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import FitError
from aotf_lab.estimation.problem import FloatArray, Problem, differences

__all__ = ["Solution", "solve"]

_ENOUGH = 1e-7
_ACCEPTED = 1e-3
_SINGULAR = 1e-10


@dataclass(frozen=True)
class Solution:
    """A minimum: ``values`` (p,), the sum of squares there, the last step in standard uncertainties."""

    values: FloatArray
    sum_squares: float
    last_step: float
    at_bound: tuple[str, ...]


def solve(problem: Problem, fixed: dict[str, float] | None = None) -> Solution:
    """Return the minimum of the problem's sum of squares, with the parameters in ``fixed`` held.

    Raises ``FitError`` when no search reached a minimum, or when the residuals do not depend on
    some combination of the parameters.
    """
    held = fixed or {}
    start = np.array([held.get(p.name, p.start) for p in problem.parameters])
    free = np.array([p.name not in held for p in problem.parameters])
    if not free.any():
        return Solution(start, float(np.sum(problem.residual(start) ** 2)), 0.0, ())
    failure: FitError | None = None
    for method in ("leastsq", "least_squares"):
        try:
            solution = _polish(problem, _search(problem, start, held, method), free)
        except FitError as error:
            failure = failure or error
            continue
        if solution.last_step <= _ACCEPTED:
            return solution
        failure = failure or FitError(
            f"the fit of {problem.scatter} did not converge",
            found=f"a last step of {solution.last_step:.2g} standard uncertainties",
            allowed=f"at most {_ACCEPTED:g}",
            cure="start nearer to the answer, or measure where the curve bends",
        )
    assert failure is not None
    raise failure


def _search(problem: Problem, start: FloatArray, held: dict[str, float], method: str) -> FloatArray:
    names = [p.name for p in problem.parameters]
    parameters = lmfit.Parameters()
    for p, value in zip(problem.parameters, start, strict=True):
        parameters.add(p.name, value=float(value), min=p.low, max=p.high, vary=p.name not in held)

    def residual(trial: lmfit.Parameters) -> FloatArray:
        return np.nan_to_num(problem.residual(np.array([trial[n].value for n in names])), nan=1e150, posinf=1e150)

    options: dict[str, object] = {"xtol": 1e-10, "ftol": 1e-10, "gtol": 1e-12, "max_nfev": 400 * (len(names) + 1)}
    if method == "least_squares":
        options |= {"x_scale": "jac"}
    fitter = lmfit.Minimizer(residual, parameters, scale_covar=False, calc_covar=False)
    with np.errstate(all="ignore"):
        result = fitter.minimize(method=method, **options)
    return np.array([result.params[n].value for n in names])


def _polish(problem: Problem, values: FloatArray, free: FloatArray) -> Solution:
    """Take Gauss-Newton steps until they stop helping."""
    low = np.array([p.low for p in problem.parameters])
    high = np.array([p.high for p in problem.parameters])
    with np.errstate(all="ignore"):
        best = float(np.sum(problem.residual(values) ** 2))
        last = np.inf
        for _ in range(20):
            span = np.maximum(np.abs(values), 1e-12)
            bound = ((values - low) < 1e-6 * span) | ((high - values) < 1e-6 * span)
            moving = np.flatnonzero(free & ~bound)
            if moving.size == 0:
                last = 0.0
                break
            step, last = _newton_step(problem, values, moving)
            trial = values.copy()
            trial[moving] += step
            trial = np.clip(trial, low, high)
            total = float(np.sum(problem.residual(trial) ** 2))
            if not total < best * (1 + 1e-12):
                break
            values, best = trial, min(total, best)
            if last < _ENOUGH:
                break
    if not np.isfinite(best):
        raise FitError(
            f"the fit of {problem.scatter} ran to infinity",
            found=best,
            allowed="a finite sum of squares",
            cure="start nearer to the answer",
        )
    stuck = tuple(p.name for p, b, f in zip(problem.parameters, bound, free, strict=True) if b and f)
    return Solution(values, best, last, stuck)


def _newton_step(problem: Problem, values: FloatArray, moving: NDArray[np.intp]) -> tuple[FloatArray, float]:
    """Return the Gauss-Newton step of the ``moving`` parameters and its size in standard uncertainties."""
    residual = problem.residual(values)

    def of_moving(part: FloatArray) -> FloatArray:
        whole = values.copy()
        whole[moving] = part
        return problem.residual(whole)

    jacobian = differences(of_moving, values[moving], problem.steps(values)[moving])
    norms = np.linalg.norm(jacobian, axis=0)
    names = [problem.parameters[k].name for k in moving]
    if not np.all(np.isfinite(jacobian)) or np.any(norms == 0):
        dead = [n for n, size in zip(names, norms, strict=True) if not size > 0]
        raise undetermined(problem, dead or names)
    u, s, vt = np.linalg.svd(jacobian / norms, full_matrices=False)
    if s[-1] < _SINGULAR * s[0]:
        raise undetermined(problem, [n for n, v in zip(names, vt[-1], strict=True) if abs(v) > 0.1])
    scaled = -(u.T @ residual) / s
    step = (vt.T @ scaled) / norms
    sigma = np.sqrt(np.sum((vt.T / s) ** 2, axis=1)) / norms
    noise = np.sqrt(max(float(residual @ residual) / max(len(residual) - len(moving), 1), 1e-300))
    if problem.u_y is not None:
        noise = max(noise, 1.0)
    return step, float(np.max(np.abs(step) / (sigma * noise)))


def undetermined(problem: Problem, names: list[str]) -> FitError:
    """Return the error that the readings do not determine ``names``."""
    return FitError(
        f"{problem.scatter} do not determine {' and '.join(names)}",
        found=f"{len(problem.y)} readings that leave them free",
        allowed="readings that change when each parameter changes",
        cure="measure where the parameters act, or start nearer to the answer",
    )
