"""Is the minimum that was found the deepest one?

A sum of squares can have several minima, and a search ends in the one whose slope it started on.
Where the result is open to doubt, further searches start elsewhere: some within 10 to 300 standard
uncertainties of the result, some at up to ten times and a tenth of the first guess, some where a
prior or the bounds say. They are drawn from a fixed seed, so a fit always gives the same answer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from scipy import special

from aotf_lab.errors import AotfLabError, FitError
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.solver import Solution, solve, started_at

__all__ = ["deepest", "suspicious"]

_DOUBT = 0.01
"""How unlikely a sum of squares must be before further searches are made; below it they cost more than they find."""
_NEW_STARTS = 8
_MOST_ROUNDS = 5


def deepest(problem: Problem, *, u_known: bool) -> tuple[Solution, Check | None]:
    """Return the deepest minimum of ``problem``, and the check on it when more than one search was made.

    Raises ``FitError`` as ``solve`` does, when further searches help no more than the first did.
    """
    failure: FitError | None = None
    first: Solution | None = None
    try:
        first = _first(problem)
    except FitError as error:
        failure = error
    if first is not None and not suspicious(problem, first, u_known=u_known):
        return first, None
    found = _search_again(problem, first)
    best = min(found, key=lambda s: s.sum_squares, default=None)
    agreeing = sum(_as_deep(s, best) for s in found) if best is not None else 0
    if best is None or (first is None and agreeing < 2):
        assert failure is not None
        raise failure
    used = first if first is not None and _as_deep(first, best) else _nearest(problem, found, best)
    return used, _check(used, first, agreeing, len(found))


def _search_again(problem: Problem, first: Solution | None) -> list[Solution]:
    """Return every minimum reached, ``first`` among them, in rounds until one brings nothing deeper."""
    found = [] if first is None else [first]
    rng = np.random.default_rng(20)
    best = first
    for _ in range(_MOST_ROUNDS):
        for start in _other_starts(problem, best, rng):
            try:
                found.append(solve(started_at(problem, start)))
            except (AotfLabError, ArithmeticError, ValueError):
                continue  # from there the model has no value, or no way leads to a minimum
        deepest_now = min(found, key=lambda s: s.sum_squares, default=None)
        if deepest_now is None or (best is not None and _as_deep(best, deepest_now)):
            break
        best = deepest_now
    return found


def _nearest(problem: Problem, found: list[Solution], best: Solution) -> Solution:
    """Return, of those as deep as ``best``, the minimum nearest to the first guess: terms may be exchanged."""
    start = np.array([p.start for p in problem.parameters])
    scale = np.maximum(np.maximum(np.abs(start), np.abs(best.values)), 1e-300)
    return min((s for s in found if _as_deep(s, best)), key=lambda s: float(np.linalg.norm((s.values - start) / scale)))


def _first(problem: Problem) -> Solution:
    """Return the minimum reached from the first guess, if need be by way of the fit without errors in x."""
    try:
        return solve(problem)
    except FitError:
        if problem.u_x is None:
            raise
        return solve(started_at(problem, solve(replace(problem, u_x=None)).values))


def suspicious(problem: Problem, solution: Solution, *, u_known: bool) -> bool:
    """Whether ``solution`` may be a minimum that is only local.

    A bound holds it; its sum of squares is too large for the stated uncertainties; or none were
    stated, so that no sum of squares is too large. A linear model has one minimum only.
    """
    if solution.at_bound:
        return True
    free = len(problem.parameters) - len(problem.exact)
    dof = len(problem.y) + len(problem.prior_rows) - free
    if u_known and (dof <= 0 or solution.sum_squares <= special.chdtri(dof, _DOUBT)):
        return False
    return not _linear(problem, solution)


def _linear(problem: Problem, solution: Solution) -> bool:
    """Whether the residuals at the start tell those at ``solution``, as they do for a linear model."""
    start = np.array([problem.exact.get(p.name, p.start) for p in problem.parameters])
    with np.errstate(all="ignore"):
        there = problem.residual(start)
        expected = there + problem.jacobian(problem.residual, start) @ (solution.values - start)
    size = float(np.linalg.norm(there - expected))
    return bool(np.linalg.norm(problem.residual(solution.values) - expected) <= 1e-6 * size)


def _other_starts(problem: Problem, best: Solution | None, rng: np.random.Generator) -> Iterator[FloatArray]:
    """Yield starting points (p,) for further searches: half of them about ``best``, half about the first guess."""
    near = 0 if best is None else _NEW_STARTS // 2
    if best is not None:
        sigma = _standard_uncertainties(problem, best)
        for reach in np.geomspace(10.0, 300.0, near):
            yield best.values + reach * sigma * rng.normal(size=len(sigma))
    for reach in np.geomspace(0.1, 1.0, _NEW_STARTS - near):
        yield np.array([_somewhere(p.start, p.low, p.high, reach, rng) for p in problem.parameters]) + (
            reach * _prior_sigma(problem) * rng.normal(size=len(problem.parameters))
        )


def _somewhere(start: float, low: float, high: float, reach: float, rng: np.random.Generator) -> float:
    if np.isfinite(low) and np.isfinite(high) and rng.random() < reach / 2:
        return float(rng.uniform(low, high))
    if start == 0:
        return float(reach * rng.normal())
    return float(start * 10.0 ** rng.uniform(-reach, reach))


def _prior_sigma(problem: Problem) -> FloatArray:
    return np.array([0.0 if p.prior is None else 2.0 * p.prior.s for p in problem.parameters])


def _standard_uncertainties(problem: Problem, solution: Solution) -> FloatArray:
    """Return roughly how far each parameter (p,) may lie off, by the scatter about ``solution``."""
    with np.errstate(all="ignore"):
        jacobian = problem.jacobian(problem.residual, solution.values)
    norms = np.linalg.norm(jacobian, axis=0)
    norms = np.where(norms > 0, norms, np.inf)
    noise = np.sqrt(solution.sum_squares / max(len(jacobian) - len(norms), 1))
    inverse = np.linalg.pinv((jacobian / norms).T @ (jacobian / norms), hermitian=True)
    return np.asarray(noise * np.sqrt(np.clip(np.diag(inverse), 0, None)) / norms)


def _as_deep(solution: Solution, best: Solution) -> bool:
    return solution.sum_squares <= best.sum_squares * (1 + 1e-6) + 1e-300


def _check(used: Solution, first: Solution | None, agreeing: int, ended: int) -> Check:
    detail = f"{agreeing} of the {ended} searches that ended in a minimum led to this one, none to a deeper one"
    if first is used:
        return Check("deepest minimum", True, detail)
    before = "failed" if first is None else f"led to a sum of squares of {first.sum_squares:.4g}"
    detail = f"{detail}; its sum of squares is {used.sum_squares:.4g}, the first guess {before}"
    passed = agreeing >= 2
    return Check(
        "deepest minimum", passed, detail if passed else f"{detail}; start nearer to the answer, or look at the curve"
    )
