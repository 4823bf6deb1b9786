"""Many correlated numbers that rest on few shared causes, combined fast and without losing a correlation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from aotf_lab.estimation.problem import FloatArray

__all__ = ["LinearNumbers", "linear_numbers"]

_NEGLIGIBLE = 1e-9


@dataclass(frozen=True)
class LinearNumbers:
    """``nominal`` (p,) plus ``factor`` (p, k) times k independent ``variables`` of unit size."""

    nominal: FloatArray
    factor: FloatArray
    variables: tuple[UFloat, ...]

    def combine(self, weights: FloatArray) -> list[UFloat]:
        """Return the n numbers ``weights`` (n, p) @ these numbers."""
        values, factors = weights @ self.nominal, weights @ self.factor
        return [
            AffineScalarFunc(float(v), LinearCombination(dict(zip(self.variables, row, strict=True))))
            for v, row in zip(values, factors.tolist(), strict=True)
        ]

    def u(self, weights: FloatArray) -> FloatArray:
        """Return the standard uncertainties (n,) of ``weights`` (n, p) @ these numbers."""
        return np.asarray(np.linalg.norm(weights @ self.factor, axis=1))


def linear_numbers(nominal: FloatArray, covariances: Mapping[str, FloatArray]) -> LinearNumbers:
    """Return numbers ``nominal`` (p,) whose covariance is the sum of ``covariances`` (p, p), by cause.

    Each cause becomes a group of independent variables tagged with its name.

    >>> pair = linear_numbers(np.array([1.0, 2.0]), {"noise": np.array([[0.04, 0.04], [0.04, 0.04]])})
    >>> first, second = pair.combine(np.eye(2))
    >>> (second - first).s < 1e-6, round(first.s, 3)
    (True, 0.2)
    """
    factors: list[FloatArray] = []
    variables: list[UFloat] = []
    for tag, covariance in covariances.items():
        factor = _factor(covariance)
        factors.append(factor)
        variables += [ufloat(0.0, 1.0, tag=tag) for _ in range(factor.shape[1])]
    return LinearNumbers(nominal, np.concatenate(factors, axis=1), tuple(variables))


def _factor(covariance: FloatArray) -> FloatArray:
    """Return (p, k) with factor @ factor.T = ``covariance`` but for negligible directions."""
    scale = np.sqrt(np.clip(np.diag(covariance), 0.0, None))
    scale[scale == 0] = 1.0
    eigenvalues, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    keep = eigenvalues > _NEGLIGIBLE * max(float(eigenvalues[-1]), 1e-300)
    return np.asarray(scale[:, None] * vectors[:, keep] * np.sqrt(eigenvalues[keep]))


def as_array(numbers: Sequence[UFloat]) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """Return ``numbers`` as an object array (n,)."""
    result = np.empty(len(numbers), dtype=object)
    result[:] = numbers
    return result
