"""Intervals of the saturation power and the peak efficiency that need not be symmetric."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import special
from uncertainties import UFloat

from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD
from aotf_lab.crystal.efficiency.readings import DriveReadings
from aotf_lab.estimation import Fit, Parameter, Problem, fit_problem, profile_interval
from aotf_lab.estimation.problem import FloatArray

__all__ = ["peak_interval", "saturation_interval"]


def saturation_interval(
    drive: DriveReadings, problem: Problem, fit: Fit, confidence: float, bounds_only: bool
) -> tuple[float, float]:
    """Return the profile-likelihood interval (true W) of the saturation power.

    The fit is put anew in terms of 1 / P_sat, which is nearly linear in the readings, with the power
    scale as one more parameter whose prior is the shared error. With ``bounds_only`` the high end is
    the power at which the initial slope would end at an efficiency of 1.
    """
    low_rate, high_rate = _profile(_in_true_watts(drive, problem, fit), fit, "rate", confidence)
    low = 1 / high_rate if high_rate > 0 else np.inf
    if not bounds_only:
        return float(low), float(1 / low_rate if low_rate > 0 else np.inf)
    slope = fit.parameters["slope"] / drive.power_scale * drive.efficiency_scale
    least = slope.n - fit.coverage_factor(confidence) * slope.s
    return float(low), float(QUARTER_PERIOD / least if least > 0 else np.inf)


def _profile(problem: Problem, fit: Fit, name: str, confidence: float) -> tuple[float, float]:
    """Return the profile interval of a parameter, with the readings' scatter scaled up as in ``fit``.

    The scatter is scaled in the readings, not in chi-square, which would stretch the shared errors too.
    """
    u_x = None if problem.u_x is None else problem.u_x * fit.birge
    scaled = replace(problem, u_y=np.asarray(problem.u_y) * fit.birge, u_x=u_x)
    known = fit.u_known and fit.birge == 1.0
    refit = replace(fit_problem(scaled, thorough=False), birge=1.0, u_known=known, dof=fit.dof)
    return profile_interval(scaled, refit, name, confidence)


def _in_true_watts(drive: DriveReadings, problem: Problem, fit: Fit) -> Problem:
    slope, curvature = float(fit.values[0]), float(fit.values[1])
    first = Parameter("rate", slope * curvature / QUARTER_PERIOD, low=0.0)
    second = replace(problem.parameters[1], start=max(curvature, 1.0001))
    others = tuple(replace(p, start=float(v)) for p, v in zip(problem.parameters[2:], fit.values[2:], strict=True))
    scale = drive.power_scale
    shared = (Parameter("power_scale", 1.0, prior=scale),) if isinstance(scale, UFloat) and scale.s > 0 else ()

    def model(power_w: FloatArray, rate: float, c: float, *rest: float) -> FloatArray:
        factor = rest[-1] if shared else 1.0
        return problem.model(power_w, QUARTER_PERIOD * rate * factor / c, c, *rest[: len(others)])

    return replace(problem, model=model, parameters=(first, second, *others, *shared))


def peak_interval(drive: DriveReadings, problem: Problem, fit: Fit, confidence: float) -> tuple[float, float]:
    """Return the profile-likelihood interval of the peak efficiency, at most 1.

    An error that all efficiencies share widens both ends in quadrature.
    """
    low, high = _profile(problem, fit, "curvature", confidence)
    ends = np.array([1 / high, 1 / low])
    best = 1 / float(fit.values[1])
    u_scale = drive.efficiency_scale.s if isinstance(drive.efficiency_scale, UFloat) else 0.0
    common = special.ndtri(0.5 + confidence / 2) * u_scale * best
    wide = best + np.sign(ends - best) * np.hypot(ends - best, common)
    return float(wide[0]), float(min(wide[1], 1.0))
