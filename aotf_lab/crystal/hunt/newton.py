"""Least squares of a sweep with a given number of passbands, damped, with what is known beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.crystal.hunt.model import FLOORS, LAG, PER_PEAK, SHARED, SKEW, HuntModel
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation.problem import FloatArray

__all__ = ["DRIVE", "Known", "Priors", "Sweep", "Whitening", "gauss_newton", "light_now", "priors"]

Whitening = tuple[NDArray[np.intp], FloatArray]
"""Row numbers (m,) with the inverse root (m, m) of their covariance; other rows are independent."""

U_SKEW = 0.1
DRIVE = (0.5, 0.4)
FAINT_DRIVE = (0.2, 0.15)
"""What is assumed of lean and drive where nothing is told (common practice, no source), as in a scan."""

MOST_LEAD_STEPS = 0.3
MOST_LAG_STEPS = 60.0
WIDEST_MHZ = 4.0
_NARROWER, _WIDER = 1.8, 0.9


@dataclass(frozen=True)
class Known:
    """What is told: lag of the meter in steps with its u, drive ratio of all lines with its u; None where not told.

    ``time_constant_s`` is what the lag rests on where that is a variable of its own.
    """

    lag: tuple[float, float] | None
    drive: tuple[float, float] | None
    time_constant_s: UFloat | None = None


@dataclass(frozen=True)
class Priors:
    """Values and standard uncertainties (p,) known beforehand; an infinite u where nothing is."""

    values: FloatArray
    u: FloatArray


@dataclass(frozen=True)
class Sweep:
    """Parameters ``values`` (p,) of the model, scatter of a row (mW), and the relative wander of the light."""

    model: HuntModel
    values: FloatArray
    floor_scatter_mw: float
    wander: float

    @property
    def rest_mw(self) -> FloatArray:
        """What the fit leaves of each reading (n,)."""
        return np.asarray(self.model.table.power_mw - self.model.shown(self.values))

    @property
    def spread_mw(self) -> FloatArray:
        """Standard uncertainty (n,) of each row: scatter and wander, as if rows were independent."""
        return np.asarray(np.hypot(self.floor_scatter_mw, self.wander * light_now(self.model, self.values)))


def light_now(model: HuntModel, values: FloatArray) -> FloatArray:
    """Return the light (n,) of all peaks as shown, without the floor, never below zero."""
    return np.asarray(np.maximum(model.shown(values) - model.floors @ values[:FLOORS], 0.0))


def priors(values: FloatArray, known: Known, table: HuntTable, faint_mw: float) -> Priors:
    """Return what is known of the parameters beforehand; a drive shows little in peaks below ``faint_mw``."""
    mean, u = np.zeros(len(values)), np.full(len(values), np.inf)
    u[SKEW] = U_SKEW
    if known.lag is not None:
        mean[LAG], u[LAG] = known.lag
    elif table.one_way:
        typical = 1.0 if table.step_s is None else 1.0 / table.step_s
        mean[LAG], u[LAG] = typical, 2.0 * typical
    for k in range(SHARED, len(values), PER_PEAK):
        told = known.drive if known.drive is not None else DRIVE
        mean[k + 3], u[k + 3] = told if values[k + 2] > faint_mw else FAINT_DRIVE
        mean[k + 1], u[k + 1] = values[k + 1], 3.0
    return Priors(mean, u)


def gauss_newton(
    sweep: Sweep, known: Known, spread: FloatArray, rounds: int, whiten: Whitening | None = None
) -> FloatArray:
    """Return the parameters of least squares; damped, and kept where the model has a meaning."""
    model, values = sweep.model, sweep.values
    faint = 60.0 * sweep.floor_scatter_mw
    known_before = priors(values, known, model.table, faint)
    finite = np.isfinite(known_before.u)

    def residual(trial: FloatArray) -> FloatArray:
        rows = _whitened(model.table.power_mw - model.shown(trial), spread, whiten)
        return np.concatenate([rows, ((known_before.values - trial) / known_before.u)[finite]])

    now, damping = residual(values), 1e-3
    cost = float(now @ now)
    for _ in range(rounds):
        rows = _whitened(model.gradient(values), spread, whiten)
        jacobian = np.vstack([rows, np.diag(1.0 / known_before.u)[finite]])
        normal, slope = jacobian.T @ jacobian, jacobian.T @ now
        gained = False
        for _ in range(6):
            size = np.diag(normal) + 1e-12 * float(np.max(np.diag(normal)))
            step = np.linalg.solve(normal + damping * np.diag(size), slope)
            trial = _bounded(values + step, values, model.table)
            after = residual(trial)
            if np.isfinite(after).all() and float(after @ after) < cost:
                gain = cost - float(after @ after)
                values, now, cost, gained = trial, after, float(after @ after), True
                damping = max(damping / 8.0, 1e-9)
                break
            damping *= 6.0
        if not gained or gain < 1e-3:
            break
    return values


def _whitened(rows: FloatArray, spread: FloatArray, whiten: Whitening | None) -> FloatArray:
    result = rows / (spread if rows.ndim == 1 else spread[:, None])
    if whiten is not None:
        where, root = whiten
        result[where] = root @ rows[where]
    return np.asarray(result)


def _bounded(trial: FloatArray, before: FloatArray, table: HuntTable) -> FloatArray:
    low, high = table.range_mhz
    trial = trial.copy()
    trial[LAG] = np.clip(trial[LAG], -MOST_LEAD_STEPS, MOST_LAG_STEPS)
    trial[SKEW] = np.clip(trial[SKEW], -0.4, 0.4)
    common = float(np.median(before[SHARED + 1 :: PER_PEAK])) if len(before) > SHARED else 0.0
    for k in range(SHARED, len(trial), PER_PEAK):
        reach = 0.7 * float(np.exp(before[k + 1]))
        trial[k] = np.clip(trial[k], max(before[k] - reach, low - reach), min(before[k] + reach, high + reach))
        trial[k + 1] = np.clip(trial[k + 1], common - _NARROWER, common + _WIDER)
        trial[k + 1] = np.clip(trial[k + 1], np.log(0.4 * table.step_mhz), np.log(WIDEST_MHZ))
        trial[k + 3] = np.clip(trial[k + 3], -0.8, 2.3)
    return np.asarray(trial)
