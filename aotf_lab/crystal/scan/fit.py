"""From the rows of a scan to fitted parameters: a first fit, the scatter about it, the fit proper."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.first import FirstFit, first_fit, rough_u
from aotf_lab.crystal.scan.guess import guess_scan
from aotf_lab.crystal.scan.known import assumed_lag, if_exact, known_drive, scan_parameters, stated_lag
from aotf_lab.crystal.scan.model import ScanModel
from aotf_lab.crystal.scan.noise import ScanNoise, scan_noise
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.errors import FitError
from aotf_lab.estimation import Check, Fit, Parameter, Problem, fit_problem
from aotf_lab.estimation.problem import FloatArray

__all__ = ["ScanSolution", "solve_scan"]


@dataclass(frozen=True)
class ScanSolution:
    """A fitted scan: its rows, its model, the scatter, the problem solved and the fit.

    ``lag_stated`` says whether the power meter's time constant was known beforehand.
    """

    table: ScanTable
    model: ScanModel
    noise: ScanNoise
    problem: Problem
    fit: Fit
    lag_stated: bool


def solve_scan(
    table: ScanTable, drive_ratio: float | UFloat | None, time_constant_s: float | UFloat | None, what: str
) -> ScanSolution:
    """Return the fit of ``table``; see ``fit_scan`` for the arguments and errors."""
    guess = guess_scan(table)
    drive, stated = known_drive(drive_ratio), stated_lag(table, time_constant_s)
    lag = assumed_lag(table) if stated is None else stated
    model = ScanModel(table.lapse, table.light, if_exact(drive), if_exact(lag))
    parameters = scan_parameters(model, table, guess, drive, lag)
    f, y = table.frequency_mhz, table.power_mw
    rough = Problem(model, parameters, f, y, rough_u(table, guess), None, what)
    first = first_fit(rough, guess)
    noise = scan_noise(table, model, rough, first.values, first.gradient)
    problem = _whitened(table, model, noise, parameters, _one_step(rough, noise, first), what)
    fit = _final_fit(problem, table.u_power_mw is not None)
    return ScanSolution(table, model, noise, problem, fit, stated is not None)


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
        return noise.whitened(model(frequency_mhz, *values))

    y = noise.whitened(table.power_mw)
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
    residual = noise.whitened(problem.y - problem.model(problem.x, *first.values))
    gradient = np.vstack([noise.whitened(first.gradient), problem.prior_rows])
    pulls = problem.prior_rows @ (problem.prior_values - first.values)
    size = np.linalg.norm(gradient, axis=0)
    step = np.linalg.lstsq(gradient / size, np.concatenate([residual, pulls]), rcond=1e-10)[0] / size
    moved = first.values + step
    inside = bool(np.all((moved > problem.low) & (moved < problem.high)))
    return moved if inside else first.values


def _final_fit(problem: Problem, known: bool) -> Fit:
    """Return the fit; where the scatter was not ``known`` it has been estimated, and Student t holds."""
    try:
        fit = fit_problem(problem, thorough=False, near=True)
    except FitError:
        fit = fit_problem(problem)
    if known:
        return fit
    detail = f"no uncertainty was stated for {problem.scatter}: its scatter was estimated with {fit.dof:.3g} degrees"
    check = Check("stated uncertainty", False, f"{detail} of freedom; state the power meter's accuracy")
    return replace(fit, u_known=False, checks=(check, *fit.checks))
