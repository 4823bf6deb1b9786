"""What is believed of a smooth curve before any reading: smooth, of unknown form, perhaps steep at one end.

The curve is a Gaussian process over a warped axis. With t from 0 to 1 along the range and
w(t) = log(1 + t/d) / log(1 + 1/d), its mean is a free combination of 1, w and t, its covariance a
Matern function of |w - w'|/r. How strongly the axis is warped (d), how far the curve reaches (r) and
how many derivatives it has (5/2 or 9/2) are not known: each combination of the grid below is kept
and weighted later by its restricted likelihood (Patterson and Thompson, Biometrika 58, 545 (1971);
Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), sections 2.7, 4.2 and 5.2).

The grid was settled by trial on simulated oscillators (tests/benchmarks/oscillator.py), none of
whose laws it contains: wide enough for all of them to be covered, coarse enough to be fast.

The curve is held as its values at ``NODES`` fixed places with a cubic spline between them, so that
it is one exact linear function of few numbers. All arrays are in units of the range (x) and of the
span of the readings (y); they do not depend on the readings and are made once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline

from aotf_lab.estimation.problem import FloatArray

__all__ = ["NODES", "SmoothPrior", "matern", "smooth_prior"]

NODES = 16
WARPS = (0.04, 0.12, 0.5, 3.0)
REACHES = (0.3, 0.7, 1.8)
SMOOTHNESS = (2.5, 4.5)
AMPLITUDES = np.geomspace(1e-3, 10.0, 23)
_BASE = 0.1


@dataclass(frozen=True)
class SmoothPrior:
    """The grid of priors, on the nodes.

    ``nodes`` (m,); ``means`` (w, m, 3) the mean's columns for each warp; ``kernels`` (g, m, m) the
    covariance for each combination at unit amplitude; ``warp_of`` (g,) the combination's warp;
    ``variances`` (a,) the squared amplitudes tried with each combination.
    """

    nodes: FloatArray
    means: FloatArray
    kernels: FloatArray
    warp_of: np.ndarray[tuple[int], np.dtype[np.intp]]
    variances: FloatArray
    spline: CubicSpline
    slope_spline: CubicSpline

    def only(self, combination: int) -> SmoothPrior:
        """Return the prior reduced to one combination, with all its amplitudes."""
        warp = int(self.warp_of[combination])
        return replace(
            self,
            means=self.means[warp : warp + 1],
            kernels=self.kernels[combination : combination + 1],
            warp_of=np.zeros(1, dtype=np.intp),
        )

    def rows(self, t: FloatArray) -> FloatArray:
        """Return the (n, m) matrix that makes the curve at ``t`` (n,) out of its node values."""
        return np.asarray(self.spline(base(t)))

    def slope_rows(self, t: FloatArray) -> FloatArray:
        """Return the (n, m) matrix that makes the slope at ``t`` (n,) out of the node values."""
        return np.asarray(self.slope_spline(base(t))) * base_slope(t)[:, None]


def base(t: FloatArray) -> FloatArray:
    """Return the axis on which the spline between the nodes is cubic."""
    return np.log1p(t / _BASE)


def base_slope(t: FloatArray) -> FloatArray:
    """Return d ``base`` / dt."""
    return np.asarray(1 / (_BASE + t))


def matern(distance: FloatArray, smoothness: float) -> FloatArray:
    """Return the Matern correlation at ``distance`` (in units of the reach).

    Half-integer forms, Rasmussen and Williams (2006), eq. 4.17 and following.
    Raises ``ValueError`` for a smoothness other than 2.5 and 4.5.
    """
    if smoothness == 2.5:
        s = np.sqrt(5.0) * distance
        return np.asarray((1 + s + s**2 / 3) * np.exp(-s))
    if smoothness == 4.5:
        s = 3.0 * distance
        return np.asarray((1 + s + 3 * s**2 / 7 + 2 * s**3 / 21 + s**4 / 105) * np.exp(-s))
    raise ValueError(f"smoothness {smoothness} is not built; allowed: 2.5 or 4.5")


@lru_cache(maxsize=1)
def smooth_prior() -> SmoothPrior:
    """Return the grid of priors (made once)."""
    fine = np.linspace(0, 1, 4001)
    nodes = np.interp(np.linspace(0, 1, NODES), 0.6 * base(fine) / base(np.ones(1)) + 0.4 * fine, fine)
    warped = np.array([np.log1p(nodes / d) / np.log1p(1 / d) for d in WARPS])
    means = np.stack([np.ones_like(warped), 2 * warped - 1, np.broadcast_to(2 * nodes - 1, warped.shape)], axis=-1)
    gaps = np.abs(warped[:, :, None] - warped[:, None, :])
    grid = [(k, r, s) for k in range(len(WARPS)) for r in REACHES for s in SMOOTHNESS]
    spline = CubicSpline(base(nodes), np.eye(NODES))
    return SmoothPrior(
        nodes,
        means,
        np.array([matern(gaps[k] / r, s) for k, r, s in grid]),
        np.array([k for k, _, _ in grid], dtype=np.intp),
        AMPLITUDES**2,
        spline,
        spline.derivative(),
    )
