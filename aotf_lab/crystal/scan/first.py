"""A first fit of a scan, from the guess to near the minimum, before its scatter is known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from aotf_lab.crystal.scan.guess import ScanGuess
from aotf_lab.crystal.scan.model import ScanModel
from aotf_lab.crystal.scan.noise import LEAST
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation import Problem
from aotf_lab.estimation.problem import FloatArray

__all__ = ["FirstFit", "first_fit", "log_start", "near_fit", "rough_u"]

ROUGH = 0.01
"""Share of the peak by which the first fit may miss any reading."""

_WIDTHS, _LAGS, _SKEWS = (1.0, 0.6, 1.6), (1.0, 0.5), (0.0, -0.15, 0.15)
"""Factors on the guessed width and lag, and leans, from which further searches start."""

_MUCH = 3.0
_STRONG_LEAN = 0.25
_ROUGH_LEVEL = 0.03


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
    """Return the minimum from the guess; where that is open to doubt, the deepest of many.

    It is open to doubt when it leaves more than the guess did or than roughly expected, when it leans much, and when
    the meter trails by half of a passband or more: lag, lean and width then stand in for each other.
    """
    best = _search(problem, guess, 1.0, 1.0, 0.0, 1e-4)
    for width, lag, skew in product(_WIDTHS, _LAGS, _SKEWS):
        if not (guess.trails_far or _doubtful(problem, guess, best)):
            break
        other = _search(problem, guess, width, lag, skew, 1e-8)
        best = min((best, other), key=lambda result: float(result.cost))
    values, gradient = np.asarray(best.x, dtype=float), -np.asarray(best.jac, dtype=float)[: len(problem.y)]
    return FirstFit(values, gradient * problem.spread(values)[:, None])


def near_fit(table: ScanTable, problem: Problem, guess: ScanGuess) -> tuple[FirstFit, float]:
    """Return the minimum next to the starts of ``problem``, on a log scale that of the levels, and how high it is."""
    found = _least(_in_levels(table, problem) if table.log else problem, guess, 1e-6)
    values = np.asarray(found.x, dtype=float)
    gradient = problem.jacobian(lambda v: problem.model(problem.x, *v), values)
    return FirstFit(values, gradient), float(found.cost)


def log_start(table: ScanTable, model: ScanModel, values: Mapping[str, float]) -> Mapping[str, float]:
    """Return ``values`` of a first fit with a floor that a log scale can show."""
    if not table.log:
        return values
    low = float(np.quantile(table.power_mw, 0.05))
    return {**values, "floor_mw": max(values["floor_mw"], 0.5 * low) if values["floor_mw"] < 5 * low else low}


def _in_levels(table: ScanTable, problem: Problem) -> Problem:
    """Return the same problem for the logarithms of the powers."""
    y, u = table.power_mw, table.u_power_mw

    def levels(frequency_mhz: FloatArray, *values: float) -> FloatArray:
        return np.log(np.maximum(problem.model(frequency_mhz, *values), LEAST * y) / y)

    spread = np.hypot(0.0 if u is None else u / y, _ROUGH_LEVEL)
    return replace(problem, model=levels, y=np.zeros_like(y), u_y=np.broadcast_to(spread, y.shape))


def _least(problem: Problem, guess: ScanGuess, tolerance: float) -> OptimizeResult:
    """Return the minimum from the starts of ``problem``."""
    start = np.array([p.start for p in problem.parameters])
    inside = np.minimum(1e-6, 1e-3 * (problem.high - problem.low))
    start = np.clip(start, problem.low + inside, problem.high - inside)
    scales = np.array([guess.scale(p.name) for p in problem.parameters])
    return least_squares(
        problem.residual, start, bounds=(problem.low, problem.high), x_scale=scales, ftol=tolerance, xtol=tolerance
    )


def _doubtful(problem: Problem, guess: ScanGuess, result: OptimizeResult) -> bool:
    rest = float(np.sum((problem.y - problem.model(problem.x, *result.x)) ** 2))
    skew = next(float(v) for p, v in zip(problem.parameters, result.x, strict=True) if p.name == "skew")
    return bool(rest > 1.1 * guess.rest_mw2 or 2 * result.cost > _MUCH * len(problem.y) or abs(skew) > _STRONG_LEAN)


def _search(
    problem: Problem, guess: ScanGuess, width: float, lag: float, skew: float, tolerance: float
) -> OptimizeResult:
    """Return where a search ends that starts at the guess with its ``width`` and ``lag`` multiplied."""
    factors = {"fwhm_mhz": width, "lag_steps": lag}
    start = np.array([skew if p.name == "skew" else p.start * factors.get(p.name, 1.0) for p in problem.parameters])
    start = np.clip(start, problem.low + 1e-6, problem.high - 1e-6)
    scales = np.array([guess.scale(p.name) for p in problem.parameters])
    return least_squares(
        problem.residual, start, bounds=(problem.low, problem.high), x_scale=scales, ftol=tolerance, xtol=tolerance
    )
