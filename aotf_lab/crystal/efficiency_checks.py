"""What an efficiency curve is asked before it is believed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.crystal.efficiency_curve import FULL, SLOPE_ONLY, SLOPE_REACH
from aotf_lab.crystal.efficiency_law import drive_law
from aotf_lab.estimation import Check, Fit, Problem
from aotf_lab.estimation.checks import z_check, z_limit
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["FitPoint", "dark_check", "law_check", "peak_check", "reach_check"]


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
        """Return the neighbourhood of ``fit``; its scatter counts as far as it was scaled up."""
        values, spread = fit.values, problem.spread(fit.values) * fit.birge
        gradient = differences(lambda v: problem.model(problem.x, *v), values, problem.steps(values))
        rows = [gradient / spread[:, None]]
        residual = [(problem.y - problem.model(problem.x, *values)) / spread]
        for k, parameter in enumerate(problem.parameters):
            if parameter.prior is not None:
                rows.append(np.eye(1, len(values), k) / parameter.prior.s)
                residual.append(np.array([(parameter.prior.n - values[k]) / parameter.prior.s]))
        return cls(problem, fit, spread, np.vstack(rows), np.concatenate(residual))

    def step(self, term: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Return the Gauss-Newton step (p,) and its standard uncertainty, with ``term`` (n,) as one more parameter.

        The step does not know of bounds. All uncertainties are infinite when the term cannot be told
        from the law.
        """
        design = self.gradient
        if term is not None:
            column = np.zeros(len(self.residual))
            column[: len(term)] = term / self.spread
            design = np.column_stack([design, column])
        size = np.linalg.norm(design, axis=0)
        left, singular, right = np.linalg.svd(design / size, full_matrices=False)
        if singular[-1] < 1e-7 * singular[0]:
            return np.zeros(len(size)), np.full(len(size), np.inf)
        step = right.T @ ((left.T @ self.residual) / singular) / size
        return step, np.sqrt(np.sum((right.T / singular) ** 2, axis=1)) / size


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
    if point.fit.dof < 0.5:
        return Check("dark", True, "no degrees of freedom left: a wrong zero could not be seen")
    step, u = point.step(np.ones_like(point.problem.y))
    if not np.isfinite(u[-1]):
        return Check("dark", True, "the readings cannot tell a wrong zero from the law")
    moved = -100 * float(step[0] / point.fit.values[0] + step[1] / point.fit.values[1])
    cure = f"P_sat would move by {moved:+.2g} % with it; subtract the dark reading"
    return z_check("dark", float(step[-1]), float(u[-1]), "efficiency without drive", "", cure)


def law_check(point: FitPoint) -> Check:
    """Return the check that nothing is left over which grows with drive: a bent power scale or a warming crystal."""
    if point.fit.dof < 1.5:
        return Check("law", True, "too few readings: a departure from sin^2 could not be seen")
    share = point.problem.x / np.max(point.problem.x)
    slope, curvature = point.fit.values[:2]
    step, u = point.step(drive_law(point.problem.x, float(slope), float(curvature)) * share)
    if not u[-1] < 1:
        return Check("law", True, "the drive was too low to tell a departure from the sin^2 law from its own curvature")
    cure = "is the RF power read at the fundamental, does the scope compress, does the crystal warm up?"
    what = "departure from the sin^2 law at the highest drive"
    return z_check("law", float(step[-1]), float(u[-1]), what, "of the light", cure)


def peak_check(point: FitPoint, names: tuple[str, ...] = ("curvature",)) -> Check:
    """Return the check that no more light comes out than went in: 1 / eta_max of 1 or more."""
    step, u = point.step()
    rows = [k for k, p in enumerate(point.problem.parameters) if p.name in names]
    wanted = (point.fit.values + step)[rows]
    sizes = (1 - wanted) / u[rows]
    worst = int(np.argmax(sizes))
    limit = z_limit(len(sizes))
    asked = f"{1 / wanted[worst]:.3f}" if wanted[worst] > 0 else "without limit"
    detail = f"the readings ask for a peak efficiency of {asked}, {max(sizes[worst], 0.0):.1f} standard uncertainties"
    detail += f" above 1; limit {limit:.1f}"
    if sizes[worst] <= limit:
        return Check("peak efficiency", True, detail)
    return Check("peak efficiency", False, f"{detail}; check the incident light, the dark reading and the power scale")
