"""All passbands of a sweep by least squares, and one more peak wherever light is left that stands out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.crystal.hunt.model import FLOORS, LAG, PER_PEAK, SHARED, SKEW, HuntModel, envelope
from aotf_lab.crystal.hunt.seeds import Doubt, Seed, find_seeds, row_scatter, z_needed
from aotf_lab.crystal.hunt.start import as_parameters, first_of_each, leaders
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray

__all__ = [
    "WORTH",
    "Known",
    "Priors",
    "Sweep",
    "deviance",
    "gauss_newton",
    "light_now",
    "more_peaks",
    "priors",
    "pruned",
    "refitted",
    "solve_sweep",
]

U_SKEW = 0.1
DRIVE = (0.5, 0.4)
FAINT_DRIVE = (0.2, 0.15)
"""What is assumed of lean and drive where nothing is told (common practice, no source), as in a scan."""

MOST_LEAD_STEPS = 0.3
MOST_LAG_STEPS = 60.0
WIDEST_MHZ = 4.0
_NARROWER, _WIDER = 1.8, 0.9
LEAST_WANDER, MOST_WANDER = 0.003, 0.06
_FIRST_WANDER = 0.03
MOST_PEAKS = 40
_ROUNDS = 12
_HIDDEN, _HIDDEN_LIMITS = 5.0, (0.05, 0.10)
WORTH = 30.0
_SETTLED = 0.025
_ODD_WIDTH = 0.45
_FAIR, _UNFAIR, _SPLITS = 0.025, 9.0, 6


@dataclass(frozen=True)
class Known:
    """What is told: lag of the meter in steps with its u, drive ratio of all lines with its u; None where not told."""

    lag: tuple[float, float] | None
    drive: tuple[float, float] | None


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
    sweep: Sweep, known: Known, spread: FloatArray, rounds: int, whiten: tuple[FloatArray, FloatArray] | None = None
) -> FloatArray:
    """Return the parameters of least squares; damped, and kept where the model has a meaning.

    ``whiten`` are row numbers (m,) with the inverse root (m, m) of their covariance; other rows are independent.
    """
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


def _whitened(rows: FloatArray, spread: FloatArray, whiten: tuple[FloatArray, FloatArray] | None) -> FloatArray:
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


def solve_sweep(table: HuntTable, known: Known) -> Sweep:
    """Return the fit of as many passbands as stand out, the highest first.

    Raises ``ReadingsError`` when more peaks stand out than a bench has.
    """
    model = HuntModel(table)
    start = np.zeros(SHARED)
    start[0] = float(np.median(table.power_mw))
    sweep = Sweep(model, start, row_scatter(table.power_mw), _FIRST_WANDER)
    nothing = Doubt(np.zeros_like(table.power_mw), np.zeros_like(table.power_mw), 0.0)
    seeds = leaders(find_seeds(table, sweep.rest_mw, nothing), table, sweep.rest_mw)
    if not seeds:
        return sweep
    sweep = _split(pruned(_best(sweep, seeds, known), known), known)
    return more_peaks(sweep, known)


def more_peaks(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep with a peak more wherever light is left that stands out, while that pays."""
    for _ in range(_ROUNDS):
        seeds = first_of_each(find_seeds(sweep.model.table, sweep.rest_mw, _doubt(sweep)))
        if not seeds:
            break
        more = pruned(_best(sweep, seeds, known), known)
        if not deviance(more, known) < deviance(sweep, known) - WORTH:
            break
        sweep = _split(more, known)
    return sweep


def _best(sweep: Sweep, seeds: list[Seed], known: Known) -> Sweep:
    """Return the fit with the peaks of ``seeds`` added, from several lags where the lag is open to doubt."""
    settled = len(sweep.values) > SHARED and sweep.wander < _SETTLED
    lags = (float(sweep.values[LAG]),) if settled else _lag_starts(sweep.model.table, known)
    starts = [_with_peaks(sweep, seeds, lag) for lag in lags]
    if len(starts) > 1:
        fits = [replace(s, values=gauss_newton(s, known, s.spread_mw, 12)) for s in starts]
        starts = sorted(fits, key=lambda s: deviance(s, known))[:2]
    return _retried(min((refitted(s, known) for s in starts), key=lambda s: deviance(s, known)), known)


def _retried(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep with each peak of an odd width fitted again from the common one, where that lies deeper."""
    common = float(np.median(sweep.values[SHARED + 1 :: PER_PEAK]))
    for k in range(SHARED, len(sweep.values), PER_PEAK):
        odd = float(sweep.values[k + 1]) - common
        if abs(odd) < _ODD_WIDTH:
            continue
        values = sweep.values.copy()
        values[k + 1], values[k + 2], values[k + 3] = common, values[k + 2] * float(np.exp(odd)), DRIVE[0]
        other = refitted(Sweep(sweep.model, values, sweep.floor_scatter_mw, sweep.wander), known)
        if deviance(other, known) < deviance(sweep, known):
            sweep = other
    return sweep


def _doubt(sweep: Sweep) -> Doubt:
    table = sweep.model.table
    lobes = table.trailing(envelope(table.frequency_mhz, sweep.values), max(float(sweep.values[LAG]), 0.0))
    hidden = float(np.clip(_HIDDEN * sweep.wander, *_HIDDEN_LIMITS))
    return Doubt(light_now(sweep.model, sweep.values), lobes, hidden)


def _with_peaks(sweep: Sweep, seeds: list[Seed], lag: float) -> Sweep:
    """Return the sweep with the peaks of ``seeds`` added; raises ``ReadingsError`` when they become too many."""
    table, values, rest = sweep.model.table, sweep.values.copy(), sweep.rest_mw
    values[LAG] = lag
    values = np.concatenate([values, *(as_parameters(s, table, rest, lag) for s in seeds)])
    count = (len(values) - SHARED) // PER_PEAK
    if count > MOST_PEAKS:
        raise ReadingsError(
            "too many peaks stand out of this sweep", where=", ".join(s.name for s in table.readings.sources),
            found=count, allowed=f"at most {MOST_PEAKS}",
            cure="look for a lamp, hum or a loose contact; let one laser at a time shine",
        )  # fmt: skip
    return Sweep(sweep.model, values, sweep.floor_scatter_mw, sweep.wander)


def deviance(sweep: Sweep, known: Known) -> float:
    """Return -2 log likelihood of the readings, what is known beforehand included."""
    before = priors(sweep.values, known, sweep.model.table, 60.0 * sweep.floor_scatter_mw)
    pull = (sweep.values - before.values) / before.u
    spread = sweep.spread_mw
    return float(np.sum((sweep.rest_mw / spread) ** 2) + 2.0 * np.sum(np.log(spread)) + pull @ pull)


def pruned(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep without the peaks that are not upright and well above their own uncertainty."""
    limit = z_needed(sweep.model.table) - 0.5
    for _ in range(4):
        starts = range(SHARED, len(sweep.values), PER_PEAK)
        u = _u(sweep, known)
        kept = [k for k in starts if sweep.values[k + 2] > limit * u[k + 2]]
        if len(kept) == len(starts):
            break
        values = np.concatenate([sweep.values[:SHARED], *(sweep.values[k : k + PER_PEAK] for k in kept)])
        sweep = refitted(replace(sweep, values=values), known)
    return sweep


def _u(sweep: Sweep, known: Known) -> FloatArray:
    """Return rough standard uncertainties (p,) of the parameters."""
    rows = sweep.model.gradient(sweep.values) / sweep.spread_mw[:, None]
    before = priors(sweep.values, known, sweep.model.table, 60.0 * sweep.floor_scatter_mw)
    information = rows.T @ rows + np.diag(before.u**-2.0)
    size = np.sqrt(np.maximum(np.diag(information), 1e-300))
    scaled = np.linalg.pinv(information / np.outer(size, size), hermitian=True)
    return np.asarray(np.sqrt(np.maximum(np.diag(scaled), 0.0)) / size)


def _split(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep with peaks split in two that one passband does not describe, while that pays."""
    for _ in range(_SPLITS):
        rest = np.abs(sweep.rest_mw) / np.hypot(sweep.floor_scatter_mw, _FAIR * light_now(sweep.model, sweep.values))
        rest = np.convolve(np.minimum(rest, 20.0) ** 2, np.ones(5) / 5, mode="same")
        if not rest.max() > _UNFAIR:
            break
        f = sweep.model.table.frequency_mhz[int(np.argmax(rest))]
        starts = list(range(SHARED, len(sweep.values), PER_PEAK))
        if not starts:
            break
        k = min(starts, key=lambda k: abs(float(sweep.values[k]) - f) / float(np.exp(sweep.values[k + 1])))
        width = float(np.exp(sweep.values[k + 1]))
        trials = []
        for side in (-0.7, 0.7):
            values = np.concatenate([sweep.values, sweep.values[k : k + PER_PEAK]])
            values[-PER_PEAK] += side * width
            values[-2] *= 0.3
            values[-1] = values[k + 3] = DRIVE[0]
            trials.append(refitted(replace(sweep, values=values), known))
        best = pruned(min(trials, key=lambda s: deviance(s, known)), known)
        if len(best.values) <= len(sweep.values) or deviance(best, known) > deviance(sweep, known) - WORTH:
            break
        sweep = best
    return sweep


def refitted(sweep: Sweep, known: Known) -> Sweep:
    """Return the sweep fitted, with scatter and wander taken anew from what is left."""
    for rounds in (10, 6, 6):
        values = gauss_newton(sweep, known, sweep.spread_mw, rounds)
        sweep = Sweep(sweep.model, values, sweep.floor_scatter_mw, sweep.wander)
        rest, light = np.abs(sweep.rest_mw), light_now(sweep.model, values)
        dark, lit = light < 3.0 * sweep.floor_scatter_mw, light > 30.0 * sweep.floor_scatter_mw
        scatter = 1.4826 * float(np.median(rest[dark])) if dark.sum() > 30 else sweep.floor_scatter_mw
        wander = 1.4826 * float(np.median(rest[lit] / light[lit])) if lit.sum() > 8 else LEAST_WANDER
        scatter = max(scatter, 1e-12)
        sweep = Sweep(sweep.model, values, scatter, min(max(wander, LEAST_WANDER), MOST_WANDER))
    return sweep


def _lag_starts(table: HuntTable, known: Known) -> tuple[float, ...]:
    """Return lags (steps) from which the fit starts."""
    return (known.lag[0],) if known.lag is not None else (0.1, 1.0, 3.0, 8.0)
