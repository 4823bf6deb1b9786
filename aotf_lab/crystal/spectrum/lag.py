"""A power meter that trails: by how much, and what that does to a scan of any spectrum.

A first-order meter shows an exponential average of the light before. On the way up that moves the spectrum up by the
mean delay (and blurs it), on the way down down: the shift that brings both ways together is the delay. It is taken
out of the frequency of each reading; the blur, an exponential of that length, stays and counts in the resolution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.crystal.scan.known import MOST_LEAD_STEPS, assumed_lag, stated_lag
from aotf_lab.crystal.scan.table import ScanTable
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Lag", "find_lag", "trailing"]

_BEGUN = 5.0
"""Rows this many lags after a run's start have no more memory of it."""


@dataclass(frozen=True)
class Lag:
    """The mean delay in MHz each way, and how it is known: "measured", "stated" or "assumed".

    ``share`` (n,) is how much of it each row has: a meter that had settled before a run trails little at its start.
    ``ratio`` is light on the way up over light on the way down with its u; None where scanned one way.
    """

    mhz: UFloat | float
    known: str
    share: FloatArray
    ratio: tuple[float, float] | None = None


def _age(table: ScanTable) -> FloatArray:
    """Return the steps (n,) since the run of each row began."""
    first = ~np.isfinite(table.lapse)
    start = np.where(first, table.clock, -np.inf)
    return np.asarray(table.clock - np.maximum.accumulate(start))


def _share(age: FloatArray, steps: float) -> FloatArray:
    """Return the mean delay after ``age`` steps, over that of a run without beginning: 1 - kept^age."""
    return np.asarray(1.0 - (steps / (1.0 + steps)) ** age) if steps > 0 else np.ones_like(age)


def trailing(light: FloatArray, lapse: FloatArray, steps: float) -> FloatArray:
    """Return ``light`` (n,) as a meter shows it that trails by ``steps`` on average; ``lapse`` as in ``ScanTable``."""
    if steps <= 0:
        return light
    kept = np.where(np.isfinite(lapse), (steps / (1.0 + steps)) ** np.where(np.isfinite(lapse), lapse, 1.0), 0.0)
    shown, state = np.empty_like(light), 0.0
    for k, (value, keep) in enumerate(zip(light.tolist(), kept.tolist(), strict=True)):
        state = value + keep * (state - value)
        shown[k] = state
    return shown


def find_lag(
    table: ScanTable, light_mw: FloatArray, u_mw: FloatArray, time_constant_s: UFloat | float | None, fwhm_mhz: float
) -> Lag:
    """Return the lag of ``light_mw`` (n,), the power above the floor: by both ways or as stated, else assumed.

    Slopes are taken over ``fwhm_mhz``, below which a spectrum has no structure.
    """
    steps = stated_lag(table, time_constant_s)
    if not table.one_way:
        found = _between_ways(table, light_mw, u_mw, fwhm_mhz)
        if steps is None or std_dev(steps) * table.pace_mhz > std_dev(found.mhz):
            return found
        return Lag(steps * table.pace_mhz, "stated", _share(_age(table), nominal_value(steps)))
    if steps is not None:
        return Lag(steps * table.pace_mhz, "stated", _share(_age(table), nominal_value(steps)))
    assumed = assumed_lag(table)
    assert assumed is not None  # a table scanned one way always gets one
    return Lag(assumed * table.pace_mhz, "assumed", _share(_age(table), nominal_value(assumed)))


def _leg(table: ScanTable, way: int, *columns: FloatArray) -> list[FloatArray]:
    """Return frequency and ``columns`` of the rows of one way, by rising frequency, rows of one frequency averaged."""
    rows = table.direction == way
    f, where = np.unique(table.frequency_mhz[rows], return_inverse=True)
    count = np.bincount(where)
    return [f, *(np.bincount(where, weights=c[rows]) / count for c in columns)]


def _slopes(f: FloatArray, y: FloatArray, u: FloatArray, fwhm_mhz: float) -> tuple[FloatArray, FloatArray]:
    """Return the slope (n,) of a line through the points within a FWHM of each (or the three nearest), and its u."""
    gap = np.abs(f[:, None] - f)
    reach = np.maximum(fwhm_mhz, np.partition(gap, 2, axis=1)[:, 2])
    near = (gap <= reach[:, None] * (1 + 1e-9)).astype(float)
    count, x = near.sum(axis=1), f - f.mean()
    mean = near @ x / count
    square = near @ (x * x) - count * mean**2
    return np.asarray((near @ (x * y) - mean * (near @ y)) / square), np.asarray(u / np.sqrt(square))


def _between_ways(table: ScanTable, light_mw: FloatArray, u_mw: FloatArray, fwhm_mhz: float) -> Lag:
    """Return the lag at which neither way lies above the other in frequency, and their ratio of light.

    The difference of the two is regressed on the slope and on the height of their mean, and on a constant, by which the
    dark readings of the two may differ. At the solution its part along
    the slope is zero, so noise in the slope does not draw it down; that noise is no information, so the share of the
    slope's square that it makes is taken out of what the u rests on.
    """
    age = _age(table)
    f_up, up, u_up, age_up = _leg(table, 1, light_mw, u_mw, age)
    f_down, down, u_down, age_down = _leg(table, -1, light_mw, u_mw, age)
    rise, fall = CubicSpline(f_up, up), CubicSpline(f_down, down)
    (rises, u_rises), (falls, u_falls) = _slopes(f_up, up, u_up, fwhm_mhz), _slopes(f_down, down, u_down, fwhm_mhz)
    least, most = -MOST_LEAD_STEPS * table.pace_mhz, 0.25 * float(np.ptp(table.frequency_mhz))
    lag, u_lag, ratio, u_ratio = 0.0, 0.0, 1.0, 0.0
    for _ in range(30):
        low, high = max(f_up[0] - lag, f_down[0] + lag), min(f_up[-1] - lag, f_down[-1] + lag)
        f = f_up[(f_up - lag >= low) & (f_up - lag <= high)] - lag
        begun = _BEGUN * max(lag / table.pace_mhz, 0.0)
        f = f[(np.interp(f + lag, f_up, age_up) >= begun) & (np.interp(f - lag, f_down, age_down) >= begun)]
        if len(f) < 4:
            break
        gap = rise(f + lag) - fall(f - lag)
        u = np.hypot(np.interp(f + lag, f_up, u_up), np.interp(f - lag, f_down, u_down))
        slope = np.interp(f + lag, f_up, rises) + np.interp(f - lag, f_down, falls)
        design = np.stack([-slope, 0.5 * (rise(f + lag) + fall(f - lag)), np.ones(len(f))], axis=1)
        inverse = np.linalg.pinv((design / u[:, None]).T @ (design / u[:, None]))
        step = inverse @ (design / u[:, None]).T @ (gap / u)
        u_slope = np.hypot(np.interp(f + lag, f_up, u_rises), np.interp(f - lag, f_down, u_falls))
        own = float(np.sum((u_slope / u) ** 2))
        u_lag = float(inverse[0, 0] ** 0.5) / max(1.0 - own * float(inverse[0, 0]), 0.05)
        height = design[:, 1] - np.average(design[:, 1], weights=u**-2)
        square = float(np.sum((height / u) ** 2))
        along = float(np.sum(design[:, 0] * height / u**2)) / square
        u_ratio = float(np.hypot(square**-0.5, along * u_lag))
        ratio = 1.0 + float(step[1])
        new = float(np.clip(lag + step[0], least, most))
        if abs(new - lag) < 1e-6 * table.step_mhz:
            break
        lag = new
    share = _share(age, lag / table.pace_mhz)
    return Lag(new_cause("lag of the power meter", u_lag, lag), "measured", share, (ratio, u_ratio))
