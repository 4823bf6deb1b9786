"""Straight terms fitted to records that scatter from one to the next by more than they say, by an unknown amount.

y = X b + scatter + errors: the errors have the covariance C that the records state, the scatter between records has the
same unknown standard deviation s for all. Nothing is fixed at one s: every result is a mean over s, weighted by the
restricted likelihood (Patterson and Thompson, Biometrika 58, 545 (1971)) and its Jeffreys prior, as O. Bodnar and
others do with a prior of that kind (Stat. Med. 36, 378 (2017)). Where C is small the result is least squares with
Student t, where s is small it is least squares with the stated errors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Scattered", "fit_scattered"]

_POINTS = 320
_BELOW, _ABOVE = 1e-2, 30.0
"""Ends of the grid of s over the typical spread; the upper one is further out the fewer the degrees of freedom."""
_NEGLIGIBLE = 1e-7
_ONE_SIGMA = 0.682689492


@dataclass(frozen=True, eq=False)
class Scattered:
    """Terms for each size of the scatter on a grid (g,), made by ``fit_scattered``.

    ``scatter`` (g,) in the unit of y with ``weight`` (g,) of sum 1; ``values`` (g, p) and ``covariance`` (g, p, p) of
    the terms for each; ``dof`` the degrees of freedom from which the scatter is known.
    """

    scatter: FloatArray
    weight: FloatArray
    values: FloatArray
    covariance: FloatArray
    dof: int

    @property
    def mean(self) -> FloatArray:
        """The terms (p,), mean over the scatter."""
        return np.asarray(self.weight @ self.values)

    def u_of(self, combination: FloatArray) -> float:
        """Return the standard uncertainty of ``combination`` (p,) of the terms: half of its 68.3 % interval."""
        low, high = self.interval(combination, confidence=_ONE_SIGMA)
        return 0.5 * (high - low)

    def interval(
        self, combination: FloatArray, *, more_variance: float = 0.0, confidence: float = 0.95
    ) -> tuple[float, float]:
        """Return the interval of ``combination`` (p,) of the terms plus an error of mean 0 with ``more_variance``."""
        if not 0 < confidence < 1:
            raise AotfLabError(
                "coverage probability", found=confidence, allowed="between 0 and 1", cure="ask for 0.95, say"
            )
        means = self.values @ combination
        u = np.sqrt(np.einsum("i,gij,j->g", combination, self.covariance, combination) + more_variance)
        tail = 0.5 * (1.0 - confidence)
        return self._quantile(means, u, tail), self._quantile(means, u, 1.0 - tail)

    def _quantile(self, means: FloatArray, u: FloatArray, chance: float) -> float:
        low, high = float(np.min(means - 40.0 * u)), float(np.max(means + 40.0 * u))
        return float(optimize.brentq(lambda x: float(self.weight @ special.ndtr((x - means) / u)) - chance, low, high))

    def scatter_quantile(self, chance: float) -> float:
        """Return the scatter between records that is not exceeded with ``chance``."""
        return float(np.interp(chance, np.cumsum(self.weight) - 0.5 * self.weight, self.scatter))

    @property
    def typical(self) -> int:
        """The place on the grid of the median scatter."""
        return int(np.searchsorted(np.cumsum(self.weight), 0.5))


def fit_scattered(
    columns: FloatArray,
    y: FloatArray,
    covariance: FloatArray,
    known: tuple[tuple[int, float, float], ...] = (),
) -> Scattered:
    """Return the terms of ``columns`` (n, p) in ``y`` (n,), whose stated errors have ``covariance`` (n, n).

    ``known`` are terms that other readings have told: (place among the columns, value, its standard uncertainty).
    Raises ``ReadingsError`` unless readings and known terms together exceed the columns by one or more.
    """
    n, p = columns.shape
    dof = n + len(known) - p
    if dof < 1:
        raise ReadingsError(
            "too few records for these terms", found=n, allowed=f"at least {n + 1 - dof}", cure="take one more record"
        )
    eigenvalues, vectors = np.linalg.eigh(covariance)
    x = np.vstack([vectors.T @ columns, *(np.eye(p)[[place]] for place, _, _ in known)])
    z = np.concatenate([vectors.T @ y, [value for _, value, _ in known]])
    stated = np.concatenate([np.clip(eigenvalues, 0.0, None), [u**2 for _, _, u in known]])
    counts = np.concatenate([np.ones(n), np.zeros(len(known))])
    s = _grid(columns, y, float(np.mean(np.clip(eigenvalues, 0.0, None))), dof)
    w = 1.0 / (stated + s[:, None] ** 2 * counts)
    normal = np.einsum("gn,ni,nj->gij", w, x, x)
    inverse = np.linalg.inv(normal)
    values = np.einsum("gij,gn,nj,n->gi", inverse, w, x, z, optimize=True)
    chi2 = np.sum(w * (z - values @ x.T) ** 2, axis=1)
    log = 0.5 * (np.sum(np.log(w), axis=1) - np.linalg.slogdet(normal)[1] - chi2) + _log_prior(w, x, counts, inverse)
    log += 2.0 * np.log(s)
    weight = np.exp(log - log.max())
    keep = weight > _NEGLIGIBLE
    return Scattered(s[keep], weight[keep] / weight[keep].sum(), values[keep], inverse[keep], dof)


def _grid(columns: FloatArray, y: FloatArray, variance: float, dof: int) -> FloatArray:
    """Return the sizes of the scatter (g,), even in the logarithm, over all that could be."""
    rest = y - columns @ np.linalg.lstsq(columns, y, rcond=None)[0]
    typical = max(variance, float(rest @ rest) / max(len(y) - 1, 1)) ** 0.5 or 1e-12
    return np.asarray(np.geomspace(_BELOW * typical, _ABOVE * 10.0 ** (4.0 / dof) * typical, _POINTS))


def _log_prior(w: FloatArray, x: FloatArray, counts: FloatArray, inverse: FloatArray) -> FloatArray:
    """Return the logarithm (g,) of Jeffreys' prior of s^2: half that of trace (P E P E), P of restricted likelihood."""
    square = np.einsum("gn,ni,nj->gij", w**2 * counts, x, x)
    cube = np.einsum("gn,ni,nj->gij", w**3 * counts, x, x)
    inner = inverse @ square
    trace = np.sum(w**2 * counts, axis=1) - 2.0 * np.einsum("gij,gji->g", inverse, cube)
    trace += np.einsum("gij,gji->g", inner, inner)
    return np.asarray(0.5 * np.log(np.maximum(trace, 1e-300)))
