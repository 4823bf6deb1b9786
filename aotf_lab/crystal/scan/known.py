"""What is known of a scan before it is fitted: drive, lag of the power meter, and what is assumed instead."""

from __future__ import annotations

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.scan.guess import ScanGuess
from aotf_lab.crystal.scan.model import DRIVE_LIMITS, ScanModel, time_constant_in_steps
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Parameter

__all__ = ["MOST_LEAD_STEPS", "assumed_lag", "if_exact", "known_drive", "scan_parameters", "stated_lag"]

U_SKEW = 0.1
UNKNOWN_DRIVE = (0.5, 0.4)
UNKNOWN_TIME_CONSTANT_S = 1.0
"""What is assumed where nothing is stated (common practice, no source): a lean of 0 +- 0.1, a drive between weak and
full, and for one-way scans a lag of the meter of about the second that thermal heads take."""

MOST_LEAD_STEPS = 0.4
"""A meter cannot lead; so much is left to scatter about no lag."""

U_RANGE_GAIN, U_RANGE_OFFSET = 0.05, 0.02
"""How far two ranges of a power meter may differ at the same light: in gain, and in offset as a share of the highest
reading (common practice, no source)."""

TIME_CONSTANT, U_TIME_CONSTANT = "power meter time constant", 0.1
"""The cause of error, and the relative standard uncertainty, of a time constant stated as a plain number."""


def if_exact(known: UFloat | float | None) -> float | None:
    """Return the value of what is known exactly, else None."""
    if isinstance(known, UFloat):
        return float(known.n) if known.s == 0 else None
    return known


def known_drive(drive_ratio: float | UFloat | None) -> float | UFloat | None:
    """Return ``drive_ratio``; raises ``ReadingsError`` where the passband's shape is not known at it."""
    nominal = drive_ratio.n if isinstance(drive_ratio, UFloat) else drive_ratio
    if nominal is not None and not 0.0 <= nominal <= DRIVE_LIMITS[1]:
        raise ReadingsError(
            "drive ratio P / P_sat of a scan", found=f"{nominal:.6g}", allowed=f"0 to {DRIVE_LIMITS[1]:g}",
            cure="give RF power over the power of full diffraction, or leave it out to have it fitted",
        )  # fmt: skip
    return drive_ratio


def stated_lag(table: ScanTable, time_constant_s: float | UFloat | None) -> float | UFloat | None:
    """Return the lag in steps by the stated time constant; None where it is not stated, or time is not logged."""
    if time_constant_s is None:
        return None
    nominal = time_constant_s.n if isinstance(time_constant_s, UFloat) else time_constant_s
    if not nominal >= 0:
        raise ReadingsError(
            "time constant of the power meter", found=f"{nominal:.6g} s", allowed="0 s or more",
            cure="correct it, or leave it out",
        )  # fmt: skip
    u = time_constant_s.s if isinstance(time_constant_s, UFloat) else U_TIME_CONSTANT * nominal
    if u == 0 and (nominal == 0 or table.step_s is not None):
        return time_constant_in_steps(nominal, table.step_s or 1.0)
    if table.step_s is None:
        return None
    stated = time_constant_s if isinstance(time_constant_s, UFloat) else ufloat(nominal, u, tag=TIME_CONSTANT)
    middle = time_constant_in_steps(nominal, table.step_s)
    above = time_constant_in_steps(nominal + u, table.step_s)
    lag: UFloat = middle + (above - middle) / u * (stated - nominal)
    return lag


def assumed_lag(table: ScanTable) -> UFloat | None:
    """Return the lag in steps assumed where none is stated: None where up and down tell by themselves."""
    if not table.one_way:
        return None
    typical = 1.0 if table.step_s is None else UNKNOWN_TIME_CONSTANT_S / table.step_s
    return ufloat(typical, typical, tag="lag of the power meter, unknown")


def scan_parameters(
    model: ScanModel, table: ScanTable, guess: ScanGuess, drive: float | UFloat | None, lag: float | UFloat | None
) -> tuple[Parameter, ...]:
    """Return the parameters of ``model`` with starts from ``guess`` and priors from what is known."""
    span = float(np.ptp(table.frequency_mhz))
    lag_start = min(max(guess.lag_steps, 0.05), 30.0)
    lag_prior = lag if isinstance(lag, UFloat) else None
    if lag_prior is not None and guess.lag_steps == 0:
        lag_start = lag_prior.n
    drive_prior = drive if isinstance(drive, UFloat) else ufloat(*UNKNOWN_DRIVE, tag="drive ratio, unknown")
    made = {
        "centre_mhz": Parameter("centre_mhz", guess.centre_mhz),
        "fwhm_mhz": Parameter("fwhm_mhz", guess.fwhm_mhz, 0.3 * table.step_mhz, 5 * span),
        "peak_power_mw": Parameter("peak_power_mw", guess.peak_mw),
        "floor_mw": Parameter("floor_mw", guess.floor_mw),
        "skew": Parameter("skew", 0.0, -0.6, 0.6, ufloat(0.0, U_SKEW, tag="lean of the passband, unknown")),
        "lag_steps": Parameter("lag_steps", lag_start, -MOST_LEAD_STEPS, np.inf, lag_prior),
        "drive_ratio": Parameter("drive_ratio", drive_prior.n, *DRIVE_LIMITS, drive_prior),
    }
    made |= _further(table, span)
    return tuple(made[name] for name in model.names)


def _further(table: ScanTable, span: float) -> dict[str, Parameter]:
    """Return the parameters of a sloping floor, of a second passband, and of the meter's other ranges."""
    largest = float(np.max(np.abs(table.power_mw)))
    made = {
        "slope_mw_per_mhz": Parameter("slope_mw_per_mhz", 0.0),
        "separation_mhz": Parameter("separation_mhz", 0.5 * span, -span, span),
        "second_ratio": Parameter("second_ratio", 0.1, 0.0, 1.5),
    }
    for k in range(1, 1 if table.ranges is None else int(table.ranges.max()) + 1):
        gain = ufloat(1.0, U_RANGE_GAIN, tag=f"gain of range {k} of the power meter, unknown")
        offset = ufloat(0.0, U_RANGE_OFFSET * largest, tag=f"offset of range {k} of the power meter, unknown")
        made[f"gain_{k}"] = Parameter(f"gain_{k}", 1.0, 0.5, 2.0, gain)
        made[f"offset_{k}_mw"] = Parameter(f"offset_{k}_mw", 0.0, prior=offset)
    return made
