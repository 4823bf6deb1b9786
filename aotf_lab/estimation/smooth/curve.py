"""A smooth curve of unknown form through readings with errors in both variables.

The effective variance u_y^2 + (slope u_x)^2 and the adjusted points are brought to agreement with
the curve at every step (York et al., Am. J. Phys. 72, 367 (2004)), so that the curve does not
converge to a wrong place. The doubt about the form is part of the result: see ``smooth_prior``.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.posterior import Likelihoods, Reduced, averaged, likelihoods, reduce_readings
from aotf_lab.estimation.smooth.prior import SmoothPrior, smooth_prior

__all__ = ["SmoothFit", "fit_smooth"]

_PASSES = 8
_SETTLED = 2e-3
_BEYOND = 0.03
_TOO_FEW = 0.5


@dataclass(frozen=True)
class SmoothFit:
    """A smooth curve on nodes, with terms beside it, all linear in the readings.

    ``values`` (p,) are the curve at the ``nodes`` (m,) and then the terms; ``scatter`` and ``form``
    (p, p) their covariance from the noise of the readings and from the unknown form. ``residuals``
    (n,) are standardised by ``spread`` (n,), the stated effective uncertainty of each reading;
    ``leverage`` (n,) is the diagonal of the hat matrix. ``chi2`` on ``dof`` judges the stated
    uncertainties; ``birge`` is the factor that the covariances already contain. Without stated
    uncertainties ``spread`` is the one estimated and chi2 equals dof. ``basis`` (n, k) and
    ``precision`` (k, k) make the inverse covariance of the readings with the mean's freedom taken out.
    """

    low: float
    high: float
    nodes: FloatArray
    values: FloatArray
    scatter: FloatArray
    form: FloatArray
    residuals: FloatArray
    spread: FloatArray
    leverage: FloatArray
    basis: FloatArray
    precision: FloatArray
    chi2: float
    dof: float
    birge: float
    u_known: bool

    def rows(self, x: FloatArray) -> FloatArray:
        """Return the (n, m) matrix that makes the curve at ``x`` (n,) out of its node values."""
        return smooth_prior().rows((x - self.low) / (self.high - self.low))

    def slope_rows(self, x: FloatArray) -> FloatArray:
        """Return the (n, m) matrix that makes the slope at ``x`` (n,) out of the node values."""
        span = self.high - self.low
        return smooth_prior().slope_rows((x - self.low) / span) / span

    def curve(self, x: FloatArray) -> FloatArray:
        """Return the curve (n,) at ``x``."""
        return np.asarray(self.rows(x) @ self.values[: len(self.nodes)])

    def slope(self, x: FloatArray) -> FloatArray:
        """Return the slope (n,) at ``x``."""
        return np.asarray(self.slope_rows(x) @ self.values[: len(self.nodes)])

    def term_test(self, column: FloatArray) -> tuple[float, float]:
        """Return the size and standard uncertainty that a further term ``column`` (n,) would get.

        The uncertainty is infinite when the curve itself can take the term's shape.
        """
        scaled = column / self.spread
        inside = self.basis.T @ scaled
        information = float(scaled @ scaled - inside @ inside + inside @ self.precision @ inside) / self.birge**2
        if not information > 1e-9 * float(scaled @ scaled):
            return 0.0, float("inf")
        return float(scaled @ self.residuals) / self.birge**2 / information, information**-0.5


@dataclass(frozen=True)
class _Scaled:
    """Readings in units of the range (t, u_t) and of the span (y, u_y), with the terms' columns."""

    t: FloatArray
    y: FloatArray
    u_t: FloatArray
    u_y: FloatArray
    shifts: FloatArray
    others: FloatArray


@dataclass(frozen=True)
class _Pass:
    """One linearisation: design (n, p) and response (n,) at the adjusted points, spread (n,), the reduction."""

    design: FloatArray
    response: FloatArray
    spread: FloatArray
    data: Reduced


@dataclass(frozen=True)
class _Noise:
    """Chi-square and degrees of freedom against the stated noise, the factor applied to it, and what follows."""

    chi2: float
    dof: float
    factor: float
    data: Reduced
    grid: Likelihoods


def fit_smooth(
    x: FloatArray,
    y: FloatArray,
    u_x: FloatArray,
    u_y: FloatArray,
    *,
    shifts: FloatArray | None = None,
    others: FloatArray | None = None,
    u_known: bool = True,
    prior: SmoothPrior | None = None,
) -> SmoothFit:
    """Fit a smooth curve to ``y`` (n,) over ``x`` (n,) with standard uncertainties ``u_x``, ``u_y`` (n,).

    Each column of ``shifts`` (n, j) is a term that moves x by its coefficient times the column, each
    column of ``others`` (n, k) one that adds to y. With ``u_known`` the uncertainties are scaled up
    (Birge) when the scatter exceeds them significantly, never down; without it only their ratios
    count. ``prior`` replaces the usual grid of priors. Needs at least four different x; the caller
    checks that.
    """
    low, high = float(np.min(x)), float(np.max(x))
    centre, span = float(np.mean(y)), float(np.ptp(y)) or 1.0
    none = np.zeros((len(x), 0))
    scaled = _Scaled(
        (x - low) / (high - low),
        (y - centre) / span,
        u_x / (high - low),
        u_y / span,
        (none if shifts is None else shifts) / (high - low),
        (none if others is None else others) / span,
    )
    prior = prior or smooth_prior()
    last = _settled(prior, scaled)
    noise = _noise(prior, last, u_known)
    data = noise.data
    posterior = averaged(prior, data, noise.grid, noise.grid.log_known, best=False)
    stated = 1.0 if u_known else noise.factor
    size = np.concatenate([np.full(len(prior.nodes), span), np.ones(len(posterior.estimate) - len(prior.nodes))])
    return SmoothFit(
        low,
        high,
        low + (high - low) * prior.nodes,
        posterior.estimate * size + np.where(np.arange(len(size)) < len(prior.nodes), centre, 0.0),
        posterior.scatter * np.outer(size, size),
        posterior.form * np.outer(size, size),
        (last.response - last.design @ posterior.estimate) / last.spread / stated,
        last.spread * span * stated,
        np.einsum("ij,jk,ik->i", data.q, data.r @ posterior.smoother, data.q),
        data.q,
        posterior.precision,
        noise.chi2 if u_known else noise.dof,
        noise.dof,
        noise.factor / stated,
        u_known,
    )


def _settled(prior: SmoothPrior, readings: _Scaled) -> _Pass:
    """Iterate spread, adjusted points and curve until they agree; one middling combination suffices."""
    only = prior.only(len(prior.kernels) // 2)
    m = len(prior.nodes)
    adjusted = readings.t
    step = _linearised(prior, readings, adjusted, np.ones_like(readings.t))
    for _ in range(_PASSES):
        grid = likelihoods(only, step.data)
        estimate = averaged(only, step.data, grid, grid.log_free, best=True).estimate
        slope = prior.slope_rows(adjusted) @ estimate[:m]
        gap = step.response - step.design @ estimate
        weight = slope * readings.u_t**2 / (readings.u_y**2 + (slope * readings.u_t) ** 2)
        adjusted = np.clip(readings.t + weight * gap, -_BEYOND, 1 + _BEYOND)
        before, step = step, _linearised(prior, readings, adjusted, slope)
        if np.max(np.abs(step.spread / before.spread - 1)) < _SETTLED:
            break
    return step


def _linearised(prior: SmoothPrior, readings: _Scaled, adjusted: FloatArray, slope: FloatArray) -> _Pass:
    """Return the Gauss-Newton step over curve and true places together, the places eliminated."""
    rows = prior.rows(adjusted)
    design = np.concatenate([rows, slope[:, None] * readings.shifts, readings.others], axis=1)
    response = readings.y - slope * (readings.t - adjusted)
    spread = np.hypot(readings.u_y, slope * readings.u_t)
    return _Pass(design, response, spread, reduce_readings(design / spread[:, None], response / spread))


def _noise(prior: SmoothPrior, last: _Pass, u_known: bool) -> _Noise:
    """Return chi-square against the stated uncertainties, and the factor that the noise needs.

    Judged with a common factor of the noise left free: with it held, a curve of free form would
    bend towards the scatter and hide it.
    """
    data, factor = last.data, 1.0
    grid = likelihoods(prior, data)
    for _ in range(1 if u_known else 3):
        smoother = averaged(prior, data, grid, grid.log_free, best=True)
        gap = (last.response - last.design @ smoother.estimate) / last.spread
        dof = float(len(gap) - np.trace(data.r @ smoother.smoother))
        chi2 = float(gap @ gap)
        if dof < _TOO_FEW or (u_known and chi2 <= chi2_limit(dof)):
            break
        factor = (chi2 / dof) ** 0.5
        data = _rescaled(last.data, factor)
        grid = likelihoods(prior, data)
    return _Noise(chi2, dof, factor, data, grid)


def _rescaled(data: Reduced, factor: float) -> Reduced:
    """Return the reduction of the same readings with all noise larger by ``factor``."""
    return replace(data, r=data.r / factor, z=data.z / factor, rest=data.rest / factor**2)
