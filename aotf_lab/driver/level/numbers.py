"""Many results that are linear in few numbers with uncertainty: fast sums of squares, and no lost correlation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from aotf_lab.estimation.problem import FloatArray

__all__ = ["SharedNumbers", "shared_numbers"]


@dataclass(frozen=True)
class SharedNumbers:
    """p numbers on k independent ``causes``: ``factor`` (p, k) is the standard uncertainty that each gives each."""

    factor: FloatArray
    causes: tuple[UFloat, ...]

    def u(self, weights: FloatArray) -> FloatArray:
        """Return the standard uncertainties (n,) of ``weights`` (n, p) @ these numbers."""
        return np.asarray(np.linalg.norm(weights @ self.factor, axis=1))

    def combine(self, nominal: FloatArray, weights: FloatArray) -> list[UFloat]:
        """Return n numbers ``nominal`` (n,) that move as ``weights`` (n, p) @ these numbers do."""
        rows = (weights @ self.factor) / self._sizes
        return [
            AffineScalarFunc(float(v), LinearCombination(dict(zip(self.causes, row, strict=True))))
            for v, row in zip(nominal, rows.tolist(), strict=True)
        ]

    @cached_property
    def _sizes(self) -> FloatArray:
        return np.array([c.std_dev for c in self.causes])

    def tagged(self, names: Sequence[str]) -> NDArray[np.bool_]:
        """Return which causes (k,) bear one of these names."""
        return np.array([c.tag in names for c in self.causes])


def shared_numbers(numbers: Sequence[UFloat]) -> SharedNumbers:
    """Return what the ``numbers`` rest on.

    >>> from uncertainties import ufloat
    >>> gain = ufloat(1.0, 0.3)
    >>> pair = shared_numbers([gain, 2 * gain])
    >>> pair.u(np.array([[1.0, 0.0], [2.0, -1.0]])).round(6).tolist()
    [0.3, 0.0]
    """
    parts = [n.derivatives for n in numbers]
    causes = list({cause: None for part in parts for cause in part if cause.std_dev > 0})
    slopes = np.array([[part.get(c, 0.0) for c in causes] for part in parts])
    return SharedNumbers(slopes * np.array([c.std_dev for c in causes]), tuple(causes))
