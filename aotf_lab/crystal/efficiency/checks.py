"""What an efficiency curve is asked before it is believed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.crystal.efficiency.curve import FULL, SLOPE_ONLY, SLOPE_REACH
from aotf_lab.crystal.efficiency.law import drive_law
from aotf_lab.estimation import Check, Fit, Problem
from aotf_lab.estimation.checks import chi2_limit, t_limit, z_limit
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["FitPoint", "dark_check", "law_check", "peak_check", "reach_check"]

_TOLD_APART = 1.0
"""A term whose share of the light is this uncertain cannot be told from the law."""


@dataclass(frozen=True)
class FitPoint:
    """A fit and its linear neighbourhood: standardised ``gradient`` (n, p) and ``residual`` (n,), priors included."""

    problem: Problem
    fit: Fit
    spread: FloatArray
    gradient: FloatArray
    residual: FloatArray

    @classmethod
    def of(cls, problem: Problem, fit: Fit) -> FitPoint:
        """Return the neighbourhood of ``fit``, by the stated uncertainties."""
        values, spread = fit.values, problem.spread(fit.values)
        gradient = differences(lambda v: problem.model(problem.x, *v), values, problem.steps(values))
        rows = [gradient / spread[:, None]]
        residual = [(problem.y - problem.model(problem.x, *values)) / spread]
        for k, parameter in enumerate(problem.parameters):
            if parameter.prior is not None:
                rows.append(np.eye(1, len(values), k) / parameter.prior.s)
                residual.append(np.array([(parameter.prior.n - values[k]) / parameter.prior.s]))
        return cls(problem, fit, spread, np.vstack(rows), np.concatenate(residual))

    def step(self, term: FloatArray | None = None) -> tuple[FloatArray, FloatArray, float]:
        """Return the Gauss-Newton step (p,), its standard uncertainty, and the sum of squares left after it.

        ``term`` (n,) is one more parameter's share of the model. The step does not know of bounds. All
        uncertainties are infinite when the term cannot be told from the law.
        """
        design = self.gradient
        if term is not None:
            column = np.zeros(len(self.residual))
            column[: len(term)] = term / self.spread
            design = np.column_stack([design, column])
        size = np.linalg.norm(design, axis=0)
        left, singular, right = np.linalg.svd(design / size, full_matrices=False)
        if singular[-1] < 1e-7 * singular[0]:
            return np.zeros(len(size)), np.full(len(size), np.inf), float(self.residual @ self.residual)
        seen = left.T @ self.residual
        u = np.sqrt(np.sum((right.T / singular) ** 2, axis=1)) / size
        return right.T @ (seen / singular) / size, u, float(self.residual @ self.residual - seen @ seen)


def reach_check(level: str, reach: str, reach_low: float) -> Check:
    """Return the check that the drive went far enough to state the peak."""
    detail = f"the drive reached {reach} of the saturation power, proven {max(reach_low, 0.0):.2f}"
    if level == SLOPE_ONLY:
        detail += (
            f", needed {SLOPE_REACH:g}: only the initial slope is known; "
            "drive harder within the crystal's rating to learn the saturation power"
        )
        return Check("reach", False, detail)
    return Check("reach", True, detail if level == FULL else f"{detail}: the peak was not passed, see the interval")


def dark_check(point: FitPoint) -> Check:
    """Return the check that efficiency is zero without drive."""
    if point.fit.dof < 1.5:
        return Check("dark", True, "too few readings: a wrong zero could not be seen")
    term = np.ones_like(point.problem.y)
    step = point.step(term)[0]
    moved = -100 * float(step[0] / point.fit.values[0] + step[1] / point.fit.values[1])
    cure = f"P_sat would move by {moved:+.2g} % with it; log a dark reading, with the beam blocked"
    return _term_check("dark", point, term, "efficiency without drive is", cure)


def law_check(point: FitPoint) -> Check:
    """Return the check that nothing is left over which grows with drive: a bent power scale or a warming crystal."""
    if point.fit.dof < 1.5:
        return Check("law", True, "too few readings: a departure from sin^2 could not be seen")
    share = point.problem.x / np.max(point.problem.x)
    slope, curvature = point.fit.values[:2]
    term = drive_law(point.problem.x, float(slope), float(curvature)) * share
    cure = "is the RF power read at the fundamental, does the scope compress, does the crystal warm up?"
    what = "at the highest drive the light departs from the sin^2 law by a share of"
    return _term_check("law", point, term, what, cure)


def _term_check(name: str, point: FitPoint, term: FloatArray, what: str, cure: str) -> Check:
    """Return the check that an added ``term`` agrees with zero.

    What the term explains must not count as scatter, so the scatter is judged with the term in.
    """
    step, u, left = point.step(term)
    dof = point.fit.dof - 1
    if not u[-1] < _TOLD_APART:
        return Check(
            name, True, f"{what} +- {u[-1]:.2g}: the drive was too low to tell it from the law's own curvature"
        )
    stated = point.fit.u_known and left <= chi2_limit(dof)
    limit = z_limit() if stated else t_limit(dof)
    u_term = float(u[-1]) * (1.0 if stated else (left / dof) ** 0.5)
    z = abs(float(step[-1])) / u_term if u_term > 0 else 0.0
    detail = f"{what} {step[-1]:.2g} +- {u_term:.2g}, {z:.1f} standard uncertainties; limit {limit:.1f}"
    return Check(name, z <= limit, detail if z <= limit else f"{detail}; {cure}")


def peak_check(point: FitPoint, names: tuple[str, ...] = ("curvature",)) -> Check:
    """Return the check that no more light comes out than went in: 1 / eta_max of 1 or more."""
    step, u, _ = point.step()
    rows = [k for k, p in enumerate(point.problem.parameters) if p.name in names]
    wanted = (point.fit.values + step)[rows]
    sizes = (1 - wanted) / (u[rows] * point.fit.birge)
    worst = int(np.argmax(sizes))
    limit = z_limit(len(sizes))
    asked = f"{1 / wanted[worst]:.3f}" if wanted[worst] > 0 else "without limit"
    detail = f"the readings ask for a peak efficiency of {asked}, {max(sizes[worst], 0.0):.1f} standard uncertainties"
    detail += f" above 1; limit {limit:.1f}"
    if sizes[worst] <= limit:
        return Check("peak efficiency", True, detail)
    return Check("peak efficiency", False, f"{detail}; check the incident light, the dark reading and the power scale")
