"""One more reading of efficiency, of any measured line at any RF power that is allowed."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from aotf_lab.estimation import FittedFunction
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.planning.curves import Curves
from aotf_lab.planning.next_reading.look import Candidate, Look

__all__ = ["KIND", "efficiency_readings"]

KIND = "efficiency reading"
_LOWEST, _HIGHEST = 0.05, 1.6


def efficiency_readings(curves: Curves) -> Iterator[Candidate]:
    """Yield as many powers (indicated W) for each measured line as it has readings, evenly up to 1.6 P_sat.

    No power above the crystal's rating, or above the highest measured where no rating is stated. Scope and power
    meter are those of the curve: the scale of power is in every reading alike.
    """
    if curves.efficiency is None:
        return
    shared = curves.efficiency.shared
    problem, fit = shared.problem, shared.fit
    counts = [len(e.drive.power_w) for e in shared.lines]
    nms = list(curves.efficiency.wavelengths_nm.values())
    ceiling = curves.rated_rf_power_w or float(problem.x.max())
    tops = [min(_HIGHEST * shared.saturation_power_indicated_w(nm).n, ceiling) for nm in nms]
    power = np.concatenate([np.linspace(_LOWEST * t, t, n) for t, n in zip(tops, counts, strict=True)])
    shown = FittedFunction(fit, problem.model)(power)
    noise = fit.birge * _noise(problem, fit.values, power, np.array([s.n for s in shown]))
    names = np.repeat(list(curves.efficiency.wavelengths_nm), counts)
    for name, w, s, u in zip(names.tolist(), power.tolist(), shown, noise.tolist(), strict=True):
        yield Candidate(KIND, f"read the efficiency of line {name} at {w:.2g} W", (Look(s, u),), 1, (w,), name)


def _noise(problem: Problem, values: FloatArray, power: FloatArray, efficiency: FloatArray) -> FloatArray:
    """Return the standard uncertainty (n,) of a reading at ``power``: as finely as those of the fit were read."""
    order = np.argsort(problem.y)
    stated = np.zeros_like(problem.y) if problem.u_y is None else problem.u_y
    u_y = np.interp(efficiency, problem.y[order], stated[order])
    driven = problem.x > 0
    relative = float(np.median(problem.u_x[driven] / problem.x[driven])) if problem.u_x is not None else 0.0
    return np.asarray(np.hypot(u_y, problem.slope(power, values) * relative * power))
