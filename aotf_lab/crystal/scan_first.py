"""A first fit of a scan, from the guess to near the minimum, before its scatter is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from aotf_lab.crystal.scan_guess import ScanGuess
from aotf_lab.crystal.scan_table import ScanTable
from aotf_lab.estimation import Problem
from aotf_lab.estimation.problem import FloatArray

__all__ = ["FirstFit", "first_fit", "rough_u"]

ROUGH = 0.01
"""Share of the peak by which the first fit may miss any reading."""

_STARTS = ((1.0, 1.0), (0.7, 0.3), (0.7, 3.0), (1.3, 0.3), (0.4, 1.0))
"""Factors on the guessed width and lag, tried in turn until the fit leaves no more than the guess did."""


def rough_u(table: ScanTable, guess: ScanGuess) -> FloatArray:
    """Return an uncertainty (mW) of each reading for a first fit that looks at the main lobe more than at details."""
    u = table.u_power_mw if table.u_power_mw is not None else np.full(len(table.row), guess.scatter_mw)
    u_f = 0.0 if table.u_frequency_mhz is None else float(np.median(table.u_frequency_mhz))
    rough = guess.peak_mw * float(np.hypot(ROUGH, u_f / guess.fwhm_mhz))
    return np.asarray(np.hypot(u, rough))


@dataclass(frozen=True)
class FirstFit:
    """A minimum close to the final one: ``values`` (p,), and the ``gradient`` (n, p) of the model in mW there."""

    values: FloatArray
    gradient: FloatArray


def first_fit(problem: Problem, guess: ScanGuess) -> FirstFit:
    """Return the minimum from the guess; where it leaves more than the guess did, the deepest of several."""
    found = []
    scales = np.array([guess.scale(p.name) for p in problem.parameters])
    for width, steps in _STARTS:
        factors = {"fwhm_mhz": width, "lag_steps": steps}
        start = np.array([p.start * factors.get(p.name, 1.0) for p in problem.parameters])
        start = np.clip(start, problem.low + 1e-6, problem.high - 1e-6)
        found.append(
            least_squares(
                problem.residual, start, bounds=(problem.low, problem.high), x_scale=scales, ftol=1e-4, xtol=1e-4
            )
        )
        if np.sum((problem.y - problem.model(problem.x, *found[-1].x)) ** 2) < 1.1 * guess.rest_mw2:
            break
    best = min(found, key=lambda result: float(result.cost))
    rows = len(problem.y)
    values, gradient = np.asarray(best.x, dtype=float), -np.asarray(best.jac, dtype=float)[:rows]
    return FirstFit(values, gradient * problem.spread(values)[:, None])
