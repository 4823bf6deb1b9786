"""A fitted function and its inverse, with their uncertainty and correlations kept.

Everything is linear in the parameters' deviations, so two results of one fit, or of two fits that
share an instrument, stay correlated as they are.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from scipy.optimize import brentq
from uncertainties import UFloat

from aotf_lab.errors import FitError, OutOfRangeError
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["FittedFunction", "require_inside", "split"]


def split(x: Any) -> tuple[FloatArray, list[Any], bool]:
    """Return the nominal values (n,) of ``x``, its elements, and whether it was a scalar."""
    elements = np.atleast_1d(np.asarray(x, dtype=object)).ravel().tolist()
    nominal = np.array([e.n if isinstance(e, UFloat) else float(e) for e in elements])
    return nominal, elements, np.ndim(x) == 0


def require_inside(name: str, nominal: FloatArray, low: float, high: float, unit: str) -> None:
    """Raise ``OutOfRangeError`` for the first value outside ``low`` to ``high`` (rounding forgiven)."""
    slack = 1e-9 * (high - low)
    outside = ~((nominal >= low - slack) & (nominal <= high + slack))
    if outside.any():
        raise OutOfRangeError(name, float(nominal[outside][0]), low, high, unit)


class FittedFunction:
    """``function(x, *values)`` at the parameters of ``fit``.

    ``function`` is vectorised over x (n,) and returns (n,). Calling it returns a ``ufloat`` for a
    scalar and an object array (n,) for an array; x may itself be a ``ufloat``.
    """

    def __init__(self, fit: Fit, function: Callable[..., FloatArray]) -> None:
        self.fit = fit
        self.function = function
        scale = np.maximum(np.abs(fit.values), np.sqrt(np.diag(fit.covariance)))
        self._steps = float(np.finfo(float).eps) ** (1 / 3) * np.where(scale > 0, scale, 1.0)
        self._deviations = [p - p.n for p in fit.parameters.values()]

    def nominal(self, x: FloatArray) -> FloatArray:
        """Return the plain values (n,) at ``x``."""
        return np.asarray(self.function(x, *self.fit.values), dtype=float)

    def gradient(self, x: FloatArray) -> FloatArray:
        """Return the derivatives (n, p) by the parameters at ``x``."""
        return differences(lambda v: np.asarray(self.function(x, *v), dtype=float), self.fit.values, self._steps)

    def slope(self, x: FloatArray) -> FloatArray:
        """Return the derivative (n,) by x."""
        step = 1e-6 * np.maximum(np.abs(x), 1e-6)
        return (self.nominal(x + step) - self.nominal(x - step)) / (2 * step)

    def u(self, x: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n,) of the function at ``x`` from the fit alone."""
        gradient = self.gradient(x)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", gradient, self.fit.covariance, gradient)))

    def __call__(self, x: Any) -> Any:
        """Return the function at ``x`` with its uncertainty."""
        nominal, elements, scalar = split(x)
        values, gradient = self.nominal(nominal), self.gradient(nominal)
        slopes = self.slope(nominal) if any(isinstance(e, UFloat) for e in elements) else np.zeros_like(nominal)
        results = np.empty(len(nominal), dtype=object)
        for i, element in enumerate(elements):
            results[i] = float(values[i]) + self._shift(gradient[i])
            if isinstance(element, UFloat):
                results[i] = results[i] + float(slopes[i]) * (element - element.n)
        return results[0] if scalar else results

    def inverse(self, y: Any, low: float, high: float) -> Any:
        """Return the x between ``low`` and ``high`` where the function equals ``y``.

        Raises ``FitError`` when the function does not take that value there.
        """
        nominal, elements, scalar = split(y)
        roots = np.array([self._root(float(v), low, high) for v in nominal])
        gradient, slopes = self.gradient(roots), self.slope(roots)
        results = np.empty(len(nominal), dtype=object)
        for i, element in enumerate(elements):
            gap = -self._shift(gradient[i])
            if isinstance(element, UFloat):
                gap = gap + (element - element.n)
            results[i] = float(roots[i]) + gap / float(slopes[i])
        return results[0] if scalar else results

    def _root(self, y: float, low: float, high: float) -> float:
        def gap(x: float) -> float:
            return float(self.nominal(np.array([x]))[0]) - y

        ends = gap(low), gap(high)
        if ends[0] * ends[1] > 0:
            nearest = low if abs(ends[0]) < abs(ends[1]) else high
            if min(abs(ends[0]), abs(ends[1])) < 1e-9 * max(abs(y), 1.0):
                return nearest
            raise FitError(
                "the fitted curve does not take this value",
                found=y,
                allowed=f"{ends[0] + y:.6g} to {ends[1] + y:.6g}",
                cure="ask inside the curve's range",
            )
        return float(brentq(gap, low, high, xtol=1e-12 * max(abs(low), abs(high)), rtol=1e-14))

    def _shift(self, gradient: FloatArray) -> UFloat:
        return sum(float(g) * d for g, d in zip(gradient, self._deviations, strict=True))
