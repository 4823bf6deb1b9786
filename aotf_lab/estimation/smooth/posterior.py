"""What the readings say of a smooth curve, averaged over the grid of priors by restricted likelihood.

Everything is dense linear algebra on as many numbers as the curve has nodes: the readings enter
only through one QR decomposition of their whitened design. For each combination of warp, reach and
smoothness one eigenvalue decomposition gives the restricted likelihood of every amplitude at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.prior import SmoothPrior

__all__ = ["Likelihoods", "Posterior", "Reduced", "averaged", "likelihoods", "reduce_readings"]

_NEGLIGIBLE = 3e-3
"""Combinations of a smaller weight, relative to the largest, are left out of the average."""


@dataclass(frozen=True)
class Reduced:
    """Whitened readings, reduced to z = r @ (node values, terms) + unit noise, and what is left over.

    ``q`` (n, k), ``r`` (k, m + terms), ``z`` (k,), ``rest`` the left-over sum of squares, ``n`` readings.
    """

    q: FloatArray
    r: FloatArray
    z: FloatArray
    rest: float
    n: int


@dataclass(frozen=True)
class Likelihoods:
    """The grid of restricted likelihoods and the decompositions that made it.

    ``log_known`` (g, a) with the stated noise; ``log_free`` (g, a) with a common factor of the noise
    left free, ``noise_squares`` (g, a) the square of that factor.
    """

    log_known: FloatArray
    log_free: FloatArray
    noise_squares: FloatArray
    contrasts: FloatArray
    eigenvalues: FloatArray
    z: FloatArray
    solve_mean: FloatArray


@dataclass(frozen=True)
class Posterior:
    """Linear estimate of (node values, terms): ``smoother`` (p, k) times z, and its doubt.

    ``form`` (p, p) is the covariance from not knowing the form of the curve, ``scatter`` (p, p)
    that from the noise of the readings (unit noise), ``precision`` (k, k) the inverse covariance
    of z about its mean, with the mean's freedom taken out.
    """

    estimate: FloatArray
    form: FloatArray
    scatter: FloatArray
    smoother: FloatArray
    precision: FloatArray


def reduce_readings(design: FloatArray, y: FloatArray) -> Reduced:
    """Return whitened readings ``y`` (n,) with whitened ``design`` (n, m + terms), reduced by QR."""
    q, r = np.linalg.qr(design)
    z = q.T @ y
    return Reduced(q, r, z, max(float(y @ y - z @ z), 0.0), len(y))


def likelihoods(prior: SmoothPrior, data: Reduced) -> Likelihoods:
    """Return the restricted likelihood of every combination of the grid."""
    m = len(prior.nodes)
    curve, terms = data.r[:, :m], data.r[:, m:]
    mean = np.concatenate([curve @ prior.means, np.broadcast_to(terms, (len(prior.means), *terms.shape))], axis=-1)
    p = mean.shape[-1]
    q, upper = np.linalg.qr(mean, mode="complete")
    free = q[:, :, p:][prior.warp_of]
    kernel = curve @ prior.kernels @ curve.T
    eigenvalues, vectors = np.linalg.eigh(free.transpose(0, 2, 1) @ kernel @ free)
    eigenvalues = np.clip(eigenvalues, 0.0, None)
    contrasts = free @ vectors
    z = contrasts.transpose(0, 2, 1) @ data.z
    growth = 1 + prior.variances[None, :, None] * eigenvalues[:, None, :]
    squares = np.sum(z[:, None, :] ** 2 / growth, axis=-1) + data.rest
    volume = np.sum(np.log(growth), axis=-1)
    dof = max(data.n - p, 1)
    solve_mean = np.linalg.solve(upper[:, :p], q[:, :, :p].transpose(0, 2, 1))
    log_free = -0.5 * (volume + dof * np.log(np.maximum(squares, 1e-300) / dof) + dof)
    return Likelihoods(-0.5 * (volume + squares), log_free, squares / dof, contrasts, eigenvalues, z, solve_mean)


def averaged(prior: SmoothPrior, data: Reduced, grid: Likelihoods, log_weight: FloatArray, best: bool) -> Posterior:
    """Return the posterior averaged with weights exp(``log_weight``), or at the ``best`` combination alone.

    The average's covariance is the mean covariance plus the scatter of the combinations' means.
    """
    g, a, weight = _kept(log_weight, best)
    m = len(prior.nodes)
    curve = data.r[:, :m]
    variance = prior.variances[a][:, None, None]
    shrink = 1 / (1 + prior.variances[a][:, None] * grid.eigenvalues[g])
    contrasts = grid.contrasts[g]
    precision = (contrasts * shrink[:, None, :]) @ contrasts.transpose(0, 2, 1)
    reach = variance * (prior.kernels[g] @ curve.T)
    departure = reach @ precision
    coefficients = grid.solve_mean[prior.warp_of[g]] @ (np.eye(len(data.z)) - curve @ departure)
    columns = prior.means.shape[-1]
    nodes = prior.means[prior.warp_of[g]] @ coefficients[:, :columns] + departure
    smoother = np.concatenate([nodes, coefficients[:, columns:]], axis=1)
    gap = smoother @ curve
    gap[:, :m] -= np.eye(m)
    form = np.tensordot(weight, variance * (gap @ prior.kernels[g] @ gap.transpose(0, 2, 1)), 1)
    mean_smoother = np.tensordot(weight, smoother, 1)
    estimates = smoother @ data.z
    estimate = weight @ estimates
    apart = np.sqrt(weight)[:, None] * (estimates - estimate)
    scatter = np.tensordot(weight, smoother @ smoother.transpose(0, 2, 1), 1)
    return Posterior(estimate, form + apart.T @ apart, scatter, mean_smoother, np.tensordot(weight, precision, 1))


def _kept(log_weight: FloatArray, best: bool) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    if best:
        g, a = np.unravel_index(int(np.argmax(log_weight)), log_weight.shape)
        return np.array([g]), np.array([a]), np.ones(1)
    weight = np.exp(log_weight - np.max(log_weight))
    rows, columns = np.nonzero(weight > _NEGLIGIBLE)
    kept = weight[rows, columns]
    return rows, columns, kept / kept.sum()
