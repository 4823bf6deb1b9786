"""Find the parameters that make the residuals smallest, and prove that they do.

lmfit (MINPACK's Levenberg-Marquardt, then a trust region) does the search; damped Gauss-Newton
steps with central differences polish the answer, and the size of the last step, in standard
uncertainties, is the proof of convergence. Whether the minimum is the deepest is asked in
``restarts``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError, FitError, Said
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.undetermined import SINGULAR, ran_away, singular_names, undetermined

__all__ = ["Solution", "solve", "started_at"]

_ENOUGH = 1e-9
_ENOUGH_OF_STATED = 1e-6
_ACCEPTED = 1e-3
_HUGE = 1e150


@dataclass(frozen=True)
class Solution:
    """A minimum: ``values`` (p,), the sum of squares there, the last step in standard uncertainties.

    ``at_bound`` names the parameters that their bounds hold; ``steps`` (p,) are the finite-difference
    steps that suit this place.
    """

    values: FloatArray
    sum_squares: float
    last_step: float
    at_bound: tuple[str, ...]
    steps: FloatArray


def solve(
    problem: Problem, fixed: dict[str, float] | None = None, *, strict: bool = True, near: bool = False
) -> Solution:
    """Return the minimum of the problem's sum of squares, with the parameters in ``fixed`` held.

    With ``near`` the start is known to lie within about a standard uncertainty of the minimum: the last steps are
    taken from there, and a search is made only where they do not converge.

    Raises ``FitError`` when no search reached a minimum, or when the residuals do not depend on
    some combination of the parameters; without ``strict`` the deepest point found is returned
    instead, as long as it is finite.
    """
    held = problem.exact | (fixed or {})
    start = np.array([held.get(p.name, p.start) for p in problem.parameters])
    free = np.array([p.name not in held for p in problem.parameters])
    _require_one_value_per_reading(problem, start)
    if not free.any():
        return Solution(start, _sum_squares(problem, start), 0.0, (), problem.steps(start))
    failure: FitError | None = None
    deepest: Solution | None = None
    for method in (*(("",) if near else ()), "leastsq", "least_squares"):
        try:
            begun = _search(problem, start, free, method) if method else start
            solution = _polish(problem, begun, free, strict=strict)
        except FitError as error:
            failure = failure or error
            continue
        if solution.last_step <= _ACCEPTED:
            return solution
        failure = failure or FitError(
            f"the fit of {problem.scatter} did not converge",
            found=Said(f"a last step of {solution.last_step:.2g} standard uncertainties"),
            allowed=f"at most {_ACCEPTED:g}",
            cure="start nearer to the answer, or measure where the curve bends",
        )
        if deepest is None or solution.sum_squares < deepest.sum_squares:
            deepest = solution
    if deepest is not None and not strict:
        return deepest
    assert failure is not None
    raise failure


def _require_one_value_per_reading(problem: Problem, start: FloatArray) -> None:
    with np.errstate(all="ignore"):
        shape = np.shape(problem.model(problem.x, *start))
    if shape != problem.y.shape:
        raise AotfLabError(
            f"the model of {problem.scatter} does not give one value for each reading",
            found=Said(f"shape {shape}"),
            allowed=f"shape {problem.y.shape}",
            cure="let the model return an array as long as the readings",
        )


def _sum_squares(problem: Problem, values: FloatArray) -> float:
    residual = problem.residual(values)
    return float(residual @ residual)


def _search(problem: Problem, start: FloatArray, free: NDArray[np.bool_], method: str) -> FloatArray:
    """Return where lmfit's ``method`` ends. lmfit is imported here because that takes half a second."""
    import lmfit

    names = [p.name for p in problem.parameters]
    parameters = lmfit.Parameters()
    for p, value, vary in zip(problem.parameters, start, free, strict=True):
        parameters.add(p.name, value=float(value), min=p.low, max=p.high, vary=bool(vary))

    def residual(trial: Any) -> FloatArray:
        values = problem.residual(np.array([trial[n].value for n in names]))
        return values if np.isfinite(values).all() else np.nan_to_num(values, nan=_HUGE, posinf=_HUGE, neginf=-_HUGE)

    options: dict[str, object] = {"xtol": 1e-10, "ftol": 1e-10, "gtol": 1e-12, "max_nfev": 400 * (len(names) + 1)}
    if method == "least_squares":
        options |= {"x_scale": "jac"}
    fitter = lmfit.Minimizer(residual, parameters, scale_covar=False, calc_covar=False, nan_policy="propagate")
    with np.errstate(all="ignore"):
        try:
            result = fitter.minimize(method=method, **options)
        except (ValueError, np.linalg.LinAlgError):
            return start
    return np.array([result.params[n].value for n in names])


def _polish(problem: Problem, values: FloatArray, free: NDArray[np.bool_], *, strict: bool) -> Solution:
    """Take damped Gauss-Newton steps until they stop helping.

    A parameter on a bound moves again as soon as the sum of squares falls inwards: lmfit's search, which
    takes bounds as turning points of a sine, cannot leave one that it starts on.
    """
    last = before = np.inf
    steps = problem.steps(values)
    enough = _ENOUGH if problem.u_y is None or problem.u_x is not None else _ENOUGH_OF_STATED
    with np.errstate(all="ignore"):
        best = _sum_squares(problem, values)
        for _ in range(60):
            newton = _newton_step(problem, values, steps, free, strict=strict)
            last = newton.size
            found = _shorten(problem, values, newton.step, best, last)
            if found is None:
                break
            values, best = found
            steps = np.where(newton.sigma > 0, problem.reach * np.maximum(np.abs(values), newton.sigma), steps)
            if last < enough or (last < _ACCEPTED and last > 0.7 * before):
                break
            before = last
    if not best < _HUGE:
        raise ran_away(problem, best)
    stuck = tuple(p.name for p, b in zip(problem.parameters, newton.pinned, strict=True) if b)
    return Solution(values, best, last, stuck, steps)


def _shorten(
    problem: Problem, values: FloatArray, step: FloatArray, best: float, size: float
) -> tuple[FloatArray, float] | None:
    """Return the point along ``step`` that is deeper than ``best``, and its sum of squares; None when none is.

    A sum of squares does not see steps of less than about 1e-5 standard uncertainties: a full step that
    small is taken as long as the sum does not visibly rise.
    """
    limit = best * (1 + (1e-9 if size < _ACCEPTED else 1e-12))
    for halvings in range(12):
        trial = np.clip(values + 0.5**halvings * step, problem.low, problem.high)
        total = _sum_squares(problem, trial)
        if total < limit:
            return trial, min(total, best)
        limit = best
    return None


@dataclass(frozen=True)
class _Newton:
    """A Gauss-Newton ``step`` (p,), its ``size`` in standard uncertainties ``sigma`` (p,), and which bounds hold it."""

    step: FloatArray
    size: float
    sigma: FloatArray
    pinned: NDArray[np.bool_]


def _newton_step(
    problem: Problem, values: FloatArray, steps: FloatArray, free: NDArray[np.bool_], *, strict: bool
) -> _Newton:
    """Return the Gauss-Newton step from ``values`` (p,), with derivatives by differences of ``steps`` (p,)."""
    residual = problem.residual(values)
    if not np.isfinite(residual).all():
        raise ran_away(problem, float(residual @ residual))
    jacobian = problem.jacobian(problem.residual, values, steps)
    near, downhill = 1e-3 * steps, -(jacobian.T @ residual)
    pinned = free & (
        ((values - problem.low < near) & (downhill <= 0)) | ((problem.high - values < near) & (downhill >= 0))
    )
    moving = np.flatnonzero(free & ~pinned)
    step, sigma = np.zeros_like(values), np.zeros_like(values)
    if moving.size == 0:
        return _Newton(step, 0.0, sigma, pinned)
    jacobian = jacobian[:, moving]
    norms = np.linalg.norm(jacobian, axis=0)
    names = [problem.parameters[k].name for k in moving]
    if not np.isfinite(jacobian).all() or (strict and np.any(norms == 0)):
        raise undetermined(problem, [n for n, size in zip(names, norms, strict=True) if not size > 0] or names)
    norms = np.where(norms > 0, norms, 1.0)
    u, s, vt = np.linalg.svd(jacobian / norms, full_matrices=False)
    if strict and (doubtful := singular_names(names, s, vt)):
        raise undetermined(problem, doubtful)
    keep = s > SINGULAR * s[0]
    u, s, vt = u[:, keep], s[keep], vt[keep]
    step[moving] = vt.T @ (-(u.T @ residual) / s) / norms
    sigma[moving] = np.sqrt(np.sum((vt.T / s) ** 2, axis=1)) / norms * _noise(problem, values, residual, len(moving))
    size = float(np.max(np.abs(step[moving]) / np.maximum(sigma[moving], 1e-300)))
    return _Newton(step, size, sigma, pinned)


def _noise(problem: Problem, values: FloatArray, residual: FloatArray, moving: int) -> float:
    """Return by what standard deviation the residuals scatter: at least as stated, at least the rounding of y."""
    scatter = float(np.sqrt(residual @ residual / max(len(residual) - moving, 1)))
    if problem.u_y is not None:
        return max(scatter, 1.0)
    rounding = 1e-12 * float(np.max(np.abs(problem.y / problem.spread(values))))
    return max(scatter, rounding, 1e-300)


def started_at(problem: Problem, values: FloatArray) -> Problem:
    """Return ``problem`` with ``values`` (p,) as its starting point."""
    starts = np.clip(values, problem.low, problem.high)
    moved = [replace(p, start=float(v)) for p, v in zip(problem.parameters, starts, strict=True)]
    return replace(problem, parameters=tuple(moved))
