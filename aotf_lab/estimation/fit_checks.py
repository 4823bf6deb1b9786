"""The checks that every weighted fit gets."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from aotf_lab.estimation.checks import Check, chi2_check, t_limit, z_limit
from aotf_lab.estimation.fit import Fit, standardised
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.solver import Solution

__all__ = ["against_the_others", "fit_checks"]

_CONDITION_LIMIT = 1e5


def fit_checks(problem: Problem, solution: Solution, fit: Fit, u_pull: FloatArray, condition: float) -> Iterator[Check]:
    """Yield the checks of ``fit``: scatter, limits, conditioning, single readings, and each prior.

    ``u_pull`` (p,) is the standard uncertainty of each parameter minus its prior, ``condition`` the
    ratio of the largest to the smallest singular value of the scaled Jacobian.
    """
    if fit.u_known:
        yield chi2_check(fit.chi2, fit.dof, problem.scatter)
    else:
        detail = (
            f"no uncertainty was stated for {problem.scatter}: {fit.noise:.3g} was estimated from "
            f"{fit.dof:.3g} degrees of freedom"
        )
        yield Check("stated uncertainty", False, f"{detail}; state the instrument's accuracy")
        yield _pattern_check(problem, fit)
    if solution.at_bound:
        detail = f"{', '.join(solution.at_bound)} stopped at a limit of what is physical"
        yield Check("limits", False, f"{detail}; the readings ask for a value beyond it")
    yield _conditioning_check(problem, condition)
    yield _outlier_check(problem, fit)
    yield from _prior_checks(problem, fit, u_pull)


def _pattern_check(problem: Problem, fit: Fit) -> Check:
    """Return the check that neighbouring residuals do not resemble each other.

    Without stated uncertainties no scatter is too large, so this alone tells a curve that does
    not follow the readings. Source: von Neumann, Ann. Math. Stat. 12, 367 (1941).
    """
    n = len(fit.residuals)
    if n < 8:
        return Check("pattern", True, f"{n} readings: too few to see a pattern in what the curve leaves")
    sortable = isinstance(problem.x, np.ndarray) and problem.x.shape == (n,) and problem.x.dtype.kind in "fi"
    ordered = fit.residuals[np.argsort(problem.x, kind="stable")] if sortable else fit.residuals
    variance = float(np.sum((ordered - ordered.mean()) ** 2))
    ratio = float(np.sum(np.diff(ordered) ** 2)) / variance if variance > 0 else 2.0
    alike = (2 - ratio) / (2 * ((n - 2) / (n**2 - 1)) ** 0.5)
    detail = f"neighbouring residuals resemble each other by {alike:.1f} standard deviations, limit {z_limit():.1f}"
    passed = alike <= z_limit()
    cure = "the curve does not follow the readings: another law, or start nearer to the answer"
    return Check("pattern", passed, detail if passed else f"{detail}; {cure}", of_limit=max(alike, 0.0) / z_limit())


def _conditioning_check(problem: Problem, condition: float) -> Check:
    detail = f"the parameters can be told apart: condition number {condition:.2g}, limit {_CONDITION_LIMIT:.0g}"
    used = condition / _CONDITION_LIMIT
    if condition <= _CONDITION_LIMIT:
        return Check("conditioning", True, detail, of_limit=used)
    names = ", ".join(p.name for p in problem.parameters)
    detail = f"{names} can hardly be told apart: condition number {condition:.2g}, limit {_CONDITION_LIMIT:.0g}"
    cure = "use the curve, not its parameters, or measure over a wider range"
    return Check("conditioning", False, f"{detail}; {cure}", of_limit=used)


def _outlier_check(problem: Problem, fit: Fit) -> Check:
    """Return the check that no single reading stands far out."""
    if fit.dof < 0.5:
        return Check("single readings", True, "no degrees of freedom left: an outlier could not be seen")
    sizes = np.abs(standardised(fit)) / fit.birge
    sizes[fit.leverage > 1 - 1e-6] = 0.0
    limit = z_limit(len(sizes))
    if not fit.u_known or fit.birge > 1:
        sizes, limit = against_the_others(sizes, fit.dof), t_limit(fit.dof - 1, len(sizes))
    worst = int(np.argmax(sizes))
    detail = f"largest residual {sizes[worst]:.1f} standard deviations at {problem.place(worst)}, limit {limit:.1f}"
    passed = bool(sizes[worst] <= limit)
    cure = "look at that reading before using the fit"
    used = float(sizes[worst]) / limit
    return Check("single readings", passed, detail if passed else f"{detail}; {cure}", of_limit=used)


def against_the_others(sizes: FloatArray, dof: float) -> FloatArray:
    """Return each size (n,) over the scatter of the other readings (Beckman & Trussell, JASA 69, 199 (1974))."""
    return np.asarray(sizes * np.sqrt(max(dof - 1, 1e-6) / np.maximum(dof - sizes**2, 1e-6)))


def _prior_checks(problem: Problem, fit: Fit, u_pull: FloatArray) -> Iterator[Check]:
    """Yield, for each prior, the check that the readings do not contradict it."""
    limit = z_limit()
    for parameter, value, u in zip(problem.parameters, fit.values, u_pull, strict=True):
        prior = parameter.prior
        if prior is None or prior.s == 0:
            continue
        pull = abs(value - prior.n) / max(float(u), 1e-3 * prior.s)
        detail = (
            f"{parameter.name} = {value:.4g}, known before as {prior.n:.4g} +- {prior.s:.2g}: "
            f"{pull:.1f} standard uncertainties apart, limit {limit:.1f}"
        )
        passed = bool(pull <= limit)
        cure = "the readings contradict it, so it may not apply here, or a reading is wrong"
        detail = detail if passed else f"{detail}; {cure}"
        yield Check(f"prior on {parameter.name}", passed, detail, of_limit=float(pull) / limit)
