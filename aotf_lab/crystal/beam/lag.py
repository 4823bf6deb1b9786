"""What a trailing meter, or the stage's backlash, does to light past a knife edge.

A meter of time constant t that is read a time T after each step shows a mean over the steps before, of weights k^n
(k = exp(-T / t)): late by m = k / (1 - k) steps on the average, with a variance of m (m + 1) steps squared. The curve
comes late by s = m step, the other way round on the way back, and D^2 = (4 sigma)^2 becomes D^2 + 16 s (s + step).
Backlash parts the two ways too, and widens neither. Where they part by 2 s, the true D^2 lies between these two.
"""

from __future__ import annotations

import math

import numpy as np
from uncertainties import UFloat, nominal_value, umath

from aotf_lab.crystal.light_rows import LightRows
from aotf_lab.crystal.scan.known import TIME_CONSTANT, U_TIME_CONSTANT
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Check, new_cause
from aotf_lab.estimation.problem import FloatArray

__all__ = ["directions", "known_lag_mm", "lag_check", "step_of", "without_lag"]

_WIDER = 0.01
"""By how much of itself a lag may widen the diameter before the check fails."""
_U_KNOWN = 0.2
"""Relative u of what a stated lag makes of the diameter: 10 % of the time constant, and uneven steps."""


def directions(light: LightRows) -> FloatArray:
    """Return +1 or -1 (n,) by the column, else by the order of the rows; 0 where the edge went one way only."""
    table, x = light.readings.table, light.setting
    said = table["direction"].tolist() if "direction" in table.columns else [""] * len(table)
    steps = np.sign(np.diff(x, prepend=2 * x[0] - x[1], append=2 * x[-1] - x[-2]))
    found = np.where(steps[1:] != 0, steps[1:], steps[:-1])
    turn = np.where(steps[:-1] != 0, steps[:-1], found)
    words = {"up": 1.0, "down": -1.0}
    direction = np.array([words.get(str(w), float(t)) for w, t in zip(said, turn, strict=True)])
    fewest = min(int(np.sum(direction > 0)), int(np.sum(direction < 0)))
    return direction if fewest >= 4 else np.zeros_like(direction)


def step_of(light: LightRows) -> float:
    """Return the step of the edge (mm) from one reading to the next."""
    steps = np.abs(np.diff(light.setting))
    return float(np.median(steps[steps > 0])) if np.any(steps > 0) else 0.0


def known_lag_mm(light: LightRows, direction: FloatArray, time_constant_s: UFloat | float | None) -> UFloat | None:
    """Return by how much (mm) readings that went one way come late; None where it is not known, or both ways show it.

    A time constant that is a plain number is taken to 10 %. Raises ``ReadingsError`` for one below zero.
    """
    if time_constant_s is None or np.any(direction != 0):
        return None
    seconds = float(nominal_value(time_constant_s))
    if not (math.isfinite(seconds) and seconds >= 0):
        raise ReadingsError(
            "time constant of the power meter", found=seconds, allowed="0 s or more",
            cure="correct it, or leave it out",
        )  # fmt: skip
    if not isinstance(time_constant_s, UFloat):
        time_constant_s = new_cause(TIME_CONSTANT, U_TIME_CONSTANT * seconds, seconds)
    if seconds == 0:
        return 0.0 * time_constant_s
    if "time_s" not in light.readings.table.columns:
        return None
    waited = float(np.median(np.diff(light.readings.table["time_s"].to_numpy(dtype=float))))
    return step_of(light) / umath.expm1(waited / time_constant_s) if waited > 0 else None


def without_lag(diameter: UFloat, shift: UFloat | None, known_mm: UFloat | None, step_mm: float) -> UFloat:
    """Return the diameter without the lag: by the known one, or half-way between that of a lag and of backlash."""
    if shift is None and known_mm is None:
        return diameter
    late = max(abs(shift.n) - shift.s, 0.0) if shift is not None else float(nominal_value(known_mm))
    gap = diameter.n - _narrow(diameter.n, late, step_mm)
    if gap == 0.0:
        return diameter
    if known_mm is not None:
        step = max(0.1 * known_mm.s, 1e-6 * late)
        slope = (_narrow(diameter.n, late - step, step_mm) - _narrow(diameter.n, late + step, step_mm)) / (2.0 * step)
        by_time = slope * (known_mm - late)
        uneven = max((_U_KNOWN * gap) ** 2 - by_time.s**2, 0.0) ** 0.5
        return diameter - gap - by_time + new_cause("uneven steps behind a lag of the meter", uneven)
    either = new_cause("lag of the meter or backlash of the stage", 0.5 * gap)  # all of the gap, or none
    return diameter - 0.5 * gap + either


def _narrow(diameter_mm: float, late_mm: float, step_mm: float) -> float:
    """Return the diameter that a lag of ``late_mm`` would have widened to ``diameter_mm``; half of it at the least."""
    square = diameter_mm**2 - 16.0 * late_mm * (late_mm + step_mm)
    return float(max(square, 0.25 * diameter_mm**2) ** 0.5)


def lag_check(shift: UFloat | None, known_mm: UFloat | None, step_mm: float, diameter_mm: float) -> Check:
    """Return the check that a lag of the meter cannot have widened the beam by more than 1 %."""
    if shift is None and known_mm is None:
        return Check(
            "lag", False,
            "the edge went one way only, and how far the meter trails is not known: it would widen the beam unseen; "
            "come back as well, or state the meter's time constant with logged times (0 where it settled each time)",
        )  # fmt: skip
    late = max(abs(shift.n) - 2.0 * shift.s, 0.0) if shift is not None else float(nominal_value(known_mm))
    share = 1.0 - _narrow(diameter_mm, late, step_mm) / diameter_mm
    said = (
        f"the two ways part by {2e3 * shift.n:.3g} um"
        if shift is not None
        else f"the meter trails by {1e3 * late:.3g} um"
    )
    detail = f"{said}: as a lag that widens the beam by {100 * share:.2g} %, limit {100 * _WIDER:g} %"
    passed = share <= _WIDER
    cure = "wait longer at each step, and take up the stage's backlash before each reading"
    return Check("lag", passed, detail if passed else f"{detail}; {cure}")
