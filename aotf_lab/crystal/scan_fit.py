"""From the rows of a scan to fitted parameters: a first fit, the scatter about it, the fit proper."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.scan_guess import ScanGuess, guess_scan
from aotf_lab.crystal.scan_model import DRIVE_LIMITS, ScanModel, time_constant_in_steps
from aotf_lab.crystal.scan_noise import ScanNoise, scan_noise
from aotf_lab.crystal.scan_table import ScanTable
from aotf_lab.errors import FitError, ReadingsError
from aotf_lab.estimation import Fit, Parameter, Problem, fit_problem
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.solver import Solution, solve

__all__ = ["ScanSolution", "solve_scan"]

U_SKEW = 0.1
UNKNOWN_DRIVE = (0.5, 0.4)
UNKNOWN_TIME_CONSTANT_S = 1.0
"""What is assumed where nothing is stated (common practice, no source): a lean of 0 +- 0.1, a drive between weak and
full, and for one-way scans a lag of the meter of about the second that thermal heads take."""

U_TIME_CONSTANT = 0.1
"""Relative standard uncertainty of a time constant stated as a plain number."""


@dataclass(frozen=True)
class ScanSolution:
    """A fitted scan: its rows, its model, the scatter, the problem solved and the fit."""

    table: ScanTable
    model: ScanModel
    noise: ScanNoise
    problem: Problem
    fit: Fit
    lag: float | UFloat | None


def solve_scan(
    table: ScanTable, drive_ratio: float | UFloat | None, time_constant_s: float | UFloat | None, what: str
) -> ScanSolution:
    """Return the fit of ``table``; see ``fit_scan`` for the arguments and errors."""
    guess = guess_scan(table)
    drive = _known_drive(drive_ratio)
    lag = _known_lag(table, time_constant_s)
    model = ScanModel(table.lapse, table.light, _if_exact(drive), _if_exact(lag))
    parameters = _parameters(model, table, guess, drive, lag)
    f, y = table.frequency_mhz, table.power_mw
    first, solution = _first_fit(Problem(model, parameters, f, y, _rough_u(table, guess), None, what), guess)
    noise = scan_noise(table, model, first, solution.values)
    problem = _whitened(table, model, noise, parameters, solution.values, what)
    return ScanSolution(table, model, noise, problem, _final_fit(problem), lag)


def _if_exact(known: UFloat | float | None) -> float | None:
    """Return the value of what is known exactly, else None."""
    if isinstance(known, UFloat):
        return float(known.n) if known.s == 0 else None
    return known


def _known_drive(drive_ratio: float | UFloat | None) -> float | UFloat | None:
    nominal = drive_ratio.n if isinstance(drive_ratio, UFloat) else drive_ratio
    if nominal is not None and not 0.0 <= nominal <= DRIVE_LIMITS[1]:
        raise ReadingsError(
            "drive ratio P / P_sat of a scan", found=f"{nominal:.6g}", allowed=f"0 to {DRIVE_LIMITS[1]:g}",
            cure="give RF power over the power of full diffraction, or leave it out to have it fitted",
        )  # fmt: skip
    return drive_ratio


def _known_lag(table: ScanTable, time_constant_s: float | UFloat | None) -> float | UFloat | None:
    """Return the lag in steps as it is known before the fit; None where the scan tells by itself."""
    if time_constant_s is not None:
        nominal = time_constant_s.n if isinstance(time_constant_s, UFloat) else time_constant_s
        u = time_constant_s.s if isinstance(time_constant_s, UFloat) else U_TIME_CONSTANT * nominal
        if not nominal >= 0:
            raise ReadingsError(
                "time constant of the power meter", found=f"{nominal:.6g} s", allowed="0 s or more",
                cure="correct it, or leave it out",
            )  # fmt: skip
        if u == 0 and (nominal == 0 or table.step_s is not None):
            return time_constant_in_steps(nominal, table.step_s or 1.0)
        if table.step_s is not None:
            tag = "time constant of the power meter"
            stated = time_constant_s if isinstance(time_constant_s, UFloat) else ufloat(nominal, u, tag=tag)
            middle = time_constant_in_steps(nominal, table.step_s)
            above = time_constant_in_steps(nominal + u, table.step_s)
            return middle + (above - middle) / u * (stated - nominal)
    if not table.one_way:
        return None
    typical = 1.0 if table.step_s is None else UNKNOWN_TIME_CONSTANT_S / table.step_s
    return ufloat(typical, typical, tag="lag of the power meter, unknown")


def _parameters(
    model: ScanModel, table: ScanTable, guess: ScanGuess, drive: float | UFloat | None, lag: float | UFloat | None
) -> tuple[Parameter, ...]:
    span = float(np.ptp(table.frequency_mhz))
    steps = min(max(guess.lag_mhz / table.pace_mhz, 0.05), 30.0)
    lag_prior = lag if isinstance(lag, UFloat) else None
    drive_prior = drive if isinstance(drive, UFloat) else ufloat(*UNKNOWN_DRIVE, tag="drive ratio, unknown")
    made = {
        "centre_mhz": Parameter("centre_mhz", guess.centre_mhz),
        "fwhm_mhz": Parameter("fwhm_mhz", guess.fwhm_mhz, 0.3 * table.step_mhz, 5 * span),
        "peak_power_mw": Parameter("peak_power_mw", guess.peak_mw),
        "floor_mw": Parameter("floor_mw", guess.floor_mw),
        "skew": Parameter("skew", 0.0, -0.6, 0.6, ufloat(0.0, U_SKEW, tag="lean of the passband, unknown")),
        "lag_steps": Parameter("lag_steps", steps if lag_prior is None else lag_prior.n, -0.4, np.inf, lag_prior),
        "drive_ratio": Parameter("drive_ratio", drive_prior.n, *DRIVE_LIMITS, drive_prior),
    }
    return tuple(made[name] for name in model.names)


def _rough_u(table: ScanTable, guess: ScanGuess) -> FloatArray:
    """Return the uncertainty (mW) of each reading about the guess, that of its frequency included."""
    u = table.u_power_mw if table.u_power_mw is not None else np.full(len(table.row), guess.scatter_mw)
    return u if table.u_frequency_mhz is None else np.hypot(u, guess.slope(table.frequency_mhz) * table.u_frequency_mhz)


def _first_fit(problem: Problem, guess: ScanGuess) -> tuple[Problem, Solution]:
    """Return the minimum from the guess; where that fails or leaves more than the guess did, the deepest of several."""
    found: list[tuple[Problem, Solution]] = []
    failure: FitError | None = None
    for width, steps in ((1.0, 1.0), (0.7, 0.3), (0.7, 3.0), (1.3, 0.3), (0.4, 1.0)):
        scale = {"fwhm_mhz": width, "lag_steps": steps}
        trial = replace(
            problem, parameters=tuple(replace(p, start=p.start * scale.get(p.name, 1.0)) for p in problem.parameters)
        )
        try:
            solution = solve(trial)
        except FitError as error:
            failure = failure or error
            continue
        found.append((trial, solution))
        if np.sum((problem.y - problem.model(problem.x, *solution.values)) ** 2) < 1.1 * guess.rest_mw2:
            break
    if not found:
        assert failure is not None
        raise failure
    return min(found, key=lambda pair: pair[1].sum_squares)


def _whitened(
    table: ScanTable, model: ScanModel, noise: ScanNoise, parameters: tuple[Parameter, ...], start: FloatArray, what: str
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
        np.ones_like(y) if table.u_power_mw is not None else None,
        table.u_frequency_mhz,
        what,
        table.places,
    )


def _final_fit(problem: Problem) -> Fit:
    try:
        return fit_problem(problem, thorough=False)
    except FitError:
        return fit_problem(problem)
