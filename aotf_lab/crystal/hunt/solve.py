"""All passbands of a sweep by least squares, and one more peak wherever light is left that stands out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aotf_lab.crystal.hunt.model import LAG, PER_PEAK, SHARED, HuntModel, envelope
from aotf_lab.crystal.hunt.newton import DRIVE, Known, Sweep, gauss_newton, light_now, priors
from aotf_lab.crystal.hunt.seeds import Doubt, Seed, find_seeds, row_scatter, z_needed
from aotf_lab.crystal.hunt.start import as_parameters, first_of_each, leaders
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray

__all__ = ["WORTH", "deviance", "more_peaks", "pruned", "refitted", "solve_sweep"]

LEAST_WANDER, MOST_WANDER = 0.003, 0.06
_FIRST_WANDER = 0.03
MOST_PEAKS = 40
_ROUNDS = 12
_HIDDEN, _HIDDEN_LIMITS = 5.0, (0.05, 0.10)
WORTH = 30.0
"""By how much -2 log likelihood must fall for peaks to be added."""

_SETTLED = 0.025
_ODD_WIDTH = 0.45
_FAIR, _UNFAIR, _SPLITS = 0.025, 9.0, 6


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
        other = refitted(replace(sweep, values=values), known)
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
    return replace(sweep, values=values)


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
        for side in (-2.0, -0.7, 0.7, 2.0):
            values = np.concatenate([sweep.values, sweep.values[k : k + PER_PEAK]])
            values[-PER_PEAK] += side * width
            values[-2] *= 0.4
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
        sweep = replace(sweep, values=values)
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
