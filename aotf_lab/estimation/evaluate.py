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

from aotf_lab.errors import FitError, OutOfRangeError, Said
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.linear import linear, nominals
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["FittedFunction", "require_inside", "split"]

_CUBE_ROOT_EPS = float(np.finfo(float).eps) ** (1 / 3)


def split(x: Any) -> tuple[FloatArray, list[Any], bool]:
    """Return the nominal values (n,) of ``x``, its elements, and whether it was a scalar."""
    elements = np.atleast_1d(np.asarray(x, dtype=object)).ravel().tolist()
    return nominals(elements), elements, np.ndim(x) == 0


def require_inside(name: str, nominal: FloatArray, low: float, high: float, unit: str) -> None:
    """Raise ``OutOfRangeError`` for the first value outside ``low`` to ``high`` (rounding forgiven)."""
    slack = 1e-9 * (high - low)
    outside = ~((nominal >= low - slack) & (nominal <= high + slack))
    if outside.any():
        raise OutOfRangeError(name, float(nominal[outside][0]), low, high, unit)


class FittedFunction:
    """``function(x, *values)`` at the parameters of ``fit``.

    ``function`` is vectorised over x (n,) and returns (n,). Calling it returns a ``ufloat`` for a
    scalar and an object array (n,) for an array; x may itself be a ``ufloat``. ``low`` and
    ``high`` say where the function is defined: it is never asked outside them.
    """

    def __init__(
        self, fit: Fit, function: Callable[..., FloatArray], low: float = -np.inf, high: float = np.inf
    ) -> None:
        self.fit = fit
        self.function = function
        self.low = low
        self.high = high
        sigma = np.sqrt(np.diag(fit.covariance))
        scale = np.maximum(np.abs(fit.values), sigma)
        steps = _CUBE_ROOT_EPS * np.where(scale > 0, scale, 1.0)
        narrow = np.where(sigma > 0, np.maximum(0.1 * sigma, 1e-9 * scale), steps)
        self._steps = np.minimum(steps, narrow)

    def nominal(self, x: FloatArray) -> FloatArray:
        """Return the plain values (n,) at ``x``."""
        return np.asarray(self.function(x, *self.fit.values), dtype=float)

    def gradient(self, x: FloatArray) -> FloatArray:
        """Return the derivatives (n, p) by the parameters at ``x``, never asking outside their bounds."""
        low, high = (-np.inf, np.inf) if self.fit.limits is None else self.fit.limits

        def at(values: FloatArray) -> FloatArray:
            return np.asarray(self.function(x, *values), dtype=float)

        return differences(at, self.fit.values, self._steps, low, high)

    def slope(self, x: FloatArray) -> FloatArray:
        """Return the derivative (n,) by x."""
        step = _CUBE_ROOT_EPS * np.maximum(np.abs(x), 1.0)
        up, down = np.minimum(x + step, self.high), np.maximum(x - step, self.low)
        return np.asarray((self.nominal(up) - self.nominal(down)) / (up - down))

    def u(self, x: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n,) of the function at ``x`` from the fit alone."""
        gradient = self.gradient(x)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", gradient, self.fit.covariance, gradient)))

    def __call__(self, x: Any) -> Any:
        """Return the function at ``x`` with its uncertainty."""
        nominal, elements, scalar = split(x)
        values, gradient = self.nominal(nominal), self.gradient(nominal)
        slopes = self.slope(nominal) if any(isinstance(e, UFloat) for e in elements) else np.zeros_like(nominal)
        results = linear(values, *self._terms(gradient), (slopes, elements))
        return results[0] if scalar else results

    def inverse(self, y: Any, low: float, high: float) -> Any:
        """Return the x between ``low`` and ``high`` where the function equals ``y``.

        Shapes as in calling. Between ``low`` and ``high`` the function must rise or fall all the
        way. Raises ``FitError`` when it does not take that value there, or is flat where it does.
        """
        nominal, elements, scalar = split(y)
        roots = np.array([self._root(float(v), low, high) for v in nominal])
        gradient, slopes = self.gradient(roots), self.slope(roots)
        if not np.all(np.abs(slopes) > 0):
            flat = int(np.argmin(np.abs(slopes)))
            raise FitError(
                "the fitted curve is flat where it takes this value",
                found=Said(f"{nominal[flat]:.6g} at {roots[flat]:.6g}"),
                allowed="a curve that rises or falls there",
                cure="ask away from the curve's turning point",
            )
        results = linear(roots, *self._terms(-gradient / slopes[:, None]), (1 / slopes, elements))
        return results[0] if scalar else results

    def _root(self, y: float, low: float, high: float) -> float:
        def gap(x: float) -> float:
            return float(self.nominal(np.array([x]))[0]) - y

        ends = gap(low), gap(high)
        if not ends[0] * ends[1] <= 0:
            nearest = low if abs(ends[0]) < abs(ends[1]) else high
            if min(abs(ends[0]), abs(ends[1])) < 1e-9 * max(abs(y), 1.0):
                return nearest
            raise FitError(
                "the fitted curve does not take this value",
                found=y,
                allowed=f"{min(ends) + y:.6g} to {max(ends) + y:.6g}",
                cure="ask inside the curve's range",
            )
        return float(brentq(gap, low, high, xtol=1e-12 * max(abs(low), abs(high), 1e-3), rtol=1e-14))

    def _terms(self, gradient: FloatArray) -> list[tuple[FloatArray, UFloat]]:
        return list(zip(gradient.T, self.fit.parameters.values(), strict=True))
