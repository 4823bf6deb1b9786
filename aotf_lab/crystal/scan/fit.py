"""From the rows of a scan to fitted parameters: a first fit, the scatter about it, the fit proper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.first import FirstFit, first_fit, log_start, near_fit, rough_u
from aotf_lab.crystal.scan.guess import ScanGuess, guess_scan
from aotf_lab.crystal.scan.known import assumed_lag, if_exact, known_drive, scan_parameters, stated_lag
from aotf_lab.crystal.scan.model import ScanModel
from aotf_lab.crystal.scan.noise import ScanNoise, scan_noise
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.errors import FitError
from aotf_lab.estimation import Check, Fit, Parameter, Problem, fit_problem
from aotf_lab.estimation.describe import describe
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.solver import solve

__all__ = ["ScanSolution", "ScanTold", "settled", "solve_again", "solve_scan"]

_PASSES, _SETTLED = 4, 0.1
"""How often the scatter of one model is judged anew at most, and the gain in -2 log likelihood that ends it."""


@dataclass(frozen=True)
class ScanTold:
    """What a fit of a scan was told, and its guess: drive and lag as they are known, ``what`` names the scan."""

    guess: ScanGuess
    drive: float | UFloat | None
    lag: float | UFloat | None
    lag_stated: bool
    what: str


@dataclass(frozen=True)
class ScanSolution:
    """A fitted scan: its rows, its model, the scatter, the problem solved and the fit.

    ``told`` is what was known beforehand; ``lag_stated`` whether the power meter's time constant was. ``failure`` is
    why the search for the minimum did not end, None where it did; the fit is then the deepest point seen.
    """

    table: ScanTable
    model: ScanModel
    noise: ScanNoise
    problem: Problem
    fit: Fit
    told: ScanTold
    failure: FitError | None = None

    @property
    def badness(self) -> float:
        """-2 log likelihood, up to what all fits of these rows share."""
        return float(self.fit.chi2 - 2.0 * np.linalg.slogdet(self.noise.root)[1])

    @property
    def lag_stated(self) -> bool:
        """Whether the power meter's time constant was known beforehand."""
        return self.told.lag_stated


def solve_scan(
    table: ScanTable, drive_ratio: float | UFloat | None, time_constant_s: float | UFloat | None, what: str
) -> ScanSolution:
    """Return the fit of ``table``; see ``fit_scan`` for the arguments and errors, only a ``failure`` is kept here."""
    guess = guess_scan(table)
    drive, stated = known_drive(drive_ratio), stated_lag(table, time_constant_s)
    lag = assumed_lag(table) if stated is None else stated
    told = ScanTold(guess, drive, lag, stated is not None, what)
    model = ScanModel(table.lapse, table.light, if_exact(drive), if_exact(lag), ranges=table.ranges)
    parameters = scan_parameters(model, table, guess, drive, lag)
    f, y = table.frequency_mhz, table.power_mw
    rough = Problem(model, parameters, f, y, rough_u(table, guess), None, what)
    first = first_fit(rough, guess)
    if table.log or table.ranges is not None:
        values = dict(zip(model.names, first.values.tolist(), strict=True))
        return _solved(table, model, told, [log_start(table, model, values)])
    return _from_first(table, model, told, rough, first)


def solve_again(solution: ScanSolution, model: ScanModel, starts: Sequence[Mapping[str, float]]) -> ScanSolution:
    """Return the fit of another ``model`` to the same rows, from where ``solution`` ended and the best start."""
    known = dict(zip(solution.model.names, solution.fit.values.tolist(), strict=True))
    table = replace(solution.table, ranges=model.ranges)
    return _solved(table, model, solution.told, [known | dict(s) for s in starts])


def settled(solution: ScanSolution) -> ScanSolution:
    """Return ``solution`` with its scatter judged anew about the fit until that no longer helps."""
    table, model, told = solution.table, solution.model, solution.told
    rough = replace(solution.problem, model=model, y=table.power_mw, u_y=rough_u(table, told.guess))
    for _ in range(_PASSES):
        values = solution.fit.values
        gradient = rough.jacobian(lambda v: model(rough.x, *v), values)
        again = _from_first(table, model, told, rough, FirstFit(values, gradient))
        gain = solution.badness - again.badness
        if gain > 0:
            solution = again
        if gain < _SETTLED:
            break
    return solution


def _solved(table: ScanTable, model: ScanModel, told: ScanTold, starts: Sequence[Mapping[str, float]]) -> ScanSolution:
    """Return the fit from the start that leads lowest.

    Its scatter is judged twice where small readings count as much as large ones.
    """
    made = scan_parameters(model, table, told.guess, told.drive, told.lag)
    f, y, u = table.frequency_mhz, table.power_mw, rough_u(table, told.guess)
    found = []
    for start in starts:
        parameters = tuple(replace(p, start=float(start.get(p.name, p.start))) for p in made)
        rough = Problem(model, parameters, f, y, u, None, told.what)
        found.append((near_fit(table, rough, told.guess), rough))
    (first, _), rough = min(found, key=lambda pair: pair[0][1])
    solution = _from_first(table, model, told, rough, first)
    if table.log or table.ranges is not None:
        values = solution.fit.values
        gradient = rough.jacobian(lambda v: model(rough.x, *v), values)
        solution = _from_first(table, model, told, rough, FirstFit(values, gradient))
    return solution


def _from_first(table: ScanTable, model: ScanModel, told: ScanTold, rough: Problem, first: FirstFit) -> ScanSolution:
    noise = scan_noise(table, model, rough, first.values, first.gradient)
    problem = _whitened(table, model, noise, rough.parameters, _one_step(rough, noise, first), told.what)
    fit, failure = _final_fit(problem, table.u_power_mw is not None)
    return ScanSolution(table, model, noise, problem, fit, told, failure)


def _whitened(
    table: ScanTable,
    model: ScanModel,
    noise: ScanNoise,
    parameters: tuple[Parameter, ...],
    start: FloatArray,
    what: str,
) -> Problem:
    """Return the problem in which the readings are independent."""

    def whitened(frequency_mhz: FloatArray, *values: float) -> FloatArray:
        return noise.seen(model(frequency_mhz, *values))

    y = noise.seen(table.power_mw)
    return Problem(
        whitened,
        tuple(replace(p, start=float(v)) for p, v in zip(parameters, start, strict=True)),
        table.frequency_mhz,
        y,
        np.ones_like(y),
        None,
        what,
        table.places,
    )


def _one_step(problem: Problem, noise: ScanNoise, first: FirstFit) -> FloatArray:
    """Return where the first fit would have ended, to first order, had it known the scatter."""
    expected = problem.model(problem.x, *first.values)
    log = noise.about_mw is not None
    residual = noise.seen(problem.y) - noise.seen(expected) if log else noise.whitened(problem.y - expected)
    gradient = np.vstack([noise.whitened(first.gradient), problem.prior_rows])
    pulls = problem.prior_rows @ (problem.prior_values - first.values)
    size = np.linalg.norm(gradient, axis=0)
    size = np.where(size > 0, size, 1.0)
    step = np.linalg.lstsq(gradient / size, np.concatenate([residual, pulls]), rcond=1e-10)[0] / size
    moved = first.values + step
    inside = bool(np.all((moved > problem.low) & (moved < problem.high)))
    return moved if inside else first.values


def _final_fit(problem: Problem, known: bool) -> tuple[Fit, FitError | None]:
    """Return the fit, and why its search did not end, None where it did.

    Where the scatter was not ``known`` it has been estimated, and Student t holds.
    """
    failure = None
    try:
        fit = fit_problem(problem, thorough=False, near=True)
    except FitError:
        try:
            fit = fit_problem(problem)
        except FitError as error:
            fit, failure = describe(problem, solve(problem, strict=False), None), error
    if known:
        return fit, failure
    detail = f"no uncertainty was stated for {problem.scatter}: its scatter was estimated with {fit.dof:.3g} degrees"
    check = Check("stated uncertainty", False, f"{detail} of freedom; state the power meter's accuracy")
    return replace(fit, u_known=False, checks=(check, *fit.checks)), failure
