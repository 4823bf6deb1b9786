"""The fit of all passbands of a sweep as numbers that share their causes of error."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.hunt.common import with_common_neighbours
from aotf_lab.crystal.hunt.model import LAG, PER_PEAK, SHARED, SKEW, peak_names
from aotf_lab.crystal.hunt.newton import Known, Priors, Sweep, gauss_newton, priors
from aotf_lab.crystal.hunt.noise import HuntNoise, hunt_noise
from aotf_lab.crystal.hunt.seeds import z_needed
from aotf_lab.crystal.hunt.solve import refitted, solve_sweep
from aotf_lab.crystal.hunt.table import HuntTable
from aotf_lab.estimation import Fit, new_cause
from aotf_lab.estimation.checks import chi2_check, chi2_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.weighted import scatter_variables

__all__ = ["HuntSolution", "solve_hunt"]

_SCATTER = "the sweep"
_DROPS = 5


@dataclass(frozen=True)
class HuntSolution:
    """The fitted ``sweep`` with its ``noise``, the ``fit``, and the doubt about motion within a step (MHz), if any."""

    sweep: Sweep
    noise: HuntNoise
    fit: Fit
    motion: UFloat | None

    @property
    def count(self) -> int:
        """How many passbands were fitted."""
        return (len(self.sweep.values) - SHARED) // PER_PEAK

    @property
    def lag_steps(self) -> UFloat:
        """By how many steps the meter trails."""
        return self.fit.parameters["lag_steps"]


def solve_hunt(table: HuntTable, known: Known) -> HuntSolution:
    """Return the fit of all passbands that stand out; raises as ``solve_sweep`` does."""
    sweep = _sorted(with_common_neighbours(solve_sweep(table, known), known))
    for _ in range(_DROPS):
        sweep, noise = _settled(sweep, known)
        fit = _described(sweep, noise, known)
        faint = _faint(fit, z_needed(table) - 0.5)
        if faint is None:
            break
        start = SHARED + PER_PEAK * faint
        sweep = refitted(replace(sweep, values=np.delete(sweep.values, slice(start, start + PER_PEAK))), known)
    return HuntSolution(sweep, noise, fit, _motion(table, float(sweep.values[LAG])))


def _settled(sweep: Sweep, known: Known) -> tuple[Sweep, HuntNoise]:
    """Return the sweep fitted once more with neighbours that err together, and that scatter."""
    noise = hunt_noise(sweep, known)
    for _ in range(2 if noise.lit.size else 1):
        whiten = (noise.lit, noise.root) if noise.lit.size else None
        values = gauss_newton(sweep, known, noise.spread_mw, 6, whiten)
        if np.any(values[SHARED + 2 :: PER_PEAK] <= 0):
            break
        sweep = replace(sweep, values=values)
        noise = hunt_noise(sweep, known)
    return sweep, noise


def _faint(fit: Fit, limit: float) -> int | None:
    """Return the peak that stands least out of the scatter, where it does not by ``limit``, else None."""
    heights = fit.values[SHARED + 2 :: PER_PEAK]
    if not len(heights):
        return None
    z = heights / np.sqrt(np.diag(fit.covariance)[SHARED + 2 :: PER_PEAK])
    return int(np.argmin(z)) if z.min() < limit else None


def _sorted(sweep: Sweep) -> Sweep:
    """Return the same sweep with its peaks in order of frequency."""
    blocks = sweep.values[SHARED:].reshape(-1, PER_PEAK)
    blocks = blocks[np.argsort(blocks[:, 0])]
    return replace(sweep, values=np.concatenate([sweep.values[:SHARED], blocks.ravel()]))


def _described(sweep: Sweep, noise: HuntNoise, known: Known) -> Fit:
    values, table = sweep.values, sweep.model.table
    rows = sweep.model.gradient(values) / noise.spread_mw[:, None]
    rest = sweep.rest_mw / noise.spread_mw
    if noise.lit.size:
        rows[noise.lit] = noise.root @ (rows[noise.lit] * noise.spread_mw[noise.lit, None])
        rest[noise.lit] = noise.root @ sweep.rest_mw[noise.lit]
    before = priors(values, known, table, 60.0 * sweep.floor_scatter_mw)
    covariance = _inverse(rows.T @ rows + np.diag(before.u**-2.0))
    leverage = np.einsum("ij,jk,ik->i", rows, covariance, rows)
    chi2, dof = float(rest @ rest), float(len(rest) - leverage.sum())
    birge = (chi2 / dof) ** 0.5 if chi2 > chi2_limit(dof) else 1.0
    scatter = covariance @ (rows.T @ rows) @ covariance * birge**2
    parameters, from_priors = _parameters(values, covariance, scatter, before, known.time_constant_s)
    return Fit(
        parameters, values, scatter + from_priors, chi2, dof, birge, table.u_power_mw is not None, rest, leverage,
        (chi2_check(chi2, dof, _SCATTER),), sweep.floor_scatter_mw,
    )  # fmt: skip


def _inverse(information: FloatArray) -> FloatArray:
    """Return the inverse of a positive matrix of badly matched units."""
    size = np.sqrt(np.maximum(np.diag(information), 1e-300))
    return np.asarray(np.linalg.pinv(information / np.outer(size, size), hermitian=True) / np.outer(size, size))


def _parameters(
    values: FloatArray, covariance: FloatArray, scatter: FloatArray, before: Priors, time_constant_s: UFloat | None
) -> tuple[dict[str, UFloat], FloatArray]:
    """Return the parameters by name, and the covariance (p, p) that they have from what was known beforehand.

    The lag moves with ``time_constant_s`` where that is a variable; drives are each peak's own.
    """
    names = peak_names((len(values) - SHARED) // PER_PEAK)
    numbers = scatter_variables(scatter, f"scatter of {_SCATTER}")
    result = {name: float(v) + number for name, v, number in zip(names, values, numbers, strict=True)}
    from_priors = np.zeros_like(covariance)
    for k in np.flatnonzero(np.isfinite(before.u)):
        share = covariance[:, k] / before.u[k]
        from_priors += np.outer(share, share)
        if names[k].startswith("log_fwhm") or not np.any(np.abs(share) > 1e-12):
            continue
        if k == LAG and time_constant_s is not None and time_constant_s.s > 0:
            cause = (time_constant_s - time_constant_s.n) / time_constant_s.s
        else:
            cause = new_cause(_CAUSES.get(int(k), "drive ratio, assumed or told"), 1.0)
        for name, part in zip(names, share, strict=True):
            if abs(part) > 0:
                result[name] = result[name] + float(part) * cause
    return result, from_priors


_CAUSES = {LAG: "lag of the power meter, assumed or told", SKEW: "lean of the passband, unknown"}


def _motion(table: HuntTable, lag_steps: float) -> UFloat | None:
    """Return the doubt (MHz) about a one-way lag from not knowing how the frequency moved within each step.

    As for a scan: a meter behind a gliding frequency trails by up to half a step more than behind a standing one.
    """
    if not (table.one_way and lag_steps > 0):
        return None
    more = 1.0 / math.log1p(1.0 / lag_steps) - lag_steps
    return new_cause("motion within a step", more / math.sqrt(2.0) * table.step_mhz)
