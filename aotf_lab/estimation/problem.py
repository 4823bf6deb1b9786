"""What is to be fitted: a model, its parameters, the readings and what is known of their errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError

__all__ = ["FloatArray", "Model", "Parameter", "Problem"]

FloatArray = NDArray[np.float64]
Model = Callable[..., FloatArray]
"""``model(x, *values) -> FloatArray``: values in the order of the parameters, x as the caller gave it."""

_CUBE_ROOT_EPS = float(np.finfo(float).eps) ** (1 / 3)


@dataclass(frozen=True)
class Parameter:
    """One parameter of a model.

    ``start`` is the first guess; ``low`` and ``high`` bound it. ``prior`` is what is known of it
    beforehand, an ``uncertainties`` number: it enters the fit as one more observation, and its
    variable stays visible in the budget of everything that is computed from the fit. An error
    that the readings share (a meter's gain) is a parameter whose prior is that shared variable.
    """

    name: str
    start: float
    low: float = -np.inf
    high: float = np.inf
    prior: UFloat | None = None


@dataclass(frozen=True)
class Problem:
    """A weighted fit with priors and, where ``u_x`` is given, errors in both variables.

    Shapes: ``y``, ``u_y``, ``u_x`` (n,); ``x`` is (n,) when ``u_x`` is given, else anything that
    the model understands. ``u_y`` None means unknown: it is then estimated from the scatter.
    ``scatter`` names the readings in the budget, ``places`` says where each row comes from.

    Raises ``ReadingsError`` for an uncertainty that is not positive, and for values that are not
    finite.
    """

    model: Model
    parameters: tuple[Parameter, ...]
    x: Any
    y: FloatArray
    u_y: FloatArray | None
    u_x: FloatArray | None = None
    scatter: str = "the readings"
    places: Sequence[str] = field(default=())

    def __post_init__(self) -> None:
        for name, values in (("value", self.y), ("standard uncertainty", self.u_y), ("standard uncertainty", self.u_x)):
            if values is None:
                continue
            good = np.isfinite(values) if name == "value" else (values > 0) & np.isfinite(values)
            if not np.all(good):
                row = int(np.argmin(good))
                raise ReadingsError(
                    f"{name} of {self.scatter}",
                    where=self.place(row),
                    found=float(values[row]),
                    allowed="a finite number" if name == "value" else "a finite number above zero",
                    cure="correct the reading, or leave the uncertainty out to have it estimated",
                )

    def place(self, row: int) -> str:
        """Return where row ``row`` comes from."""
        return self.places[row] if row < len(self.places) else f"row {row + 1}"

    def slope(self, x: Any, values: FloatArray) -> FloatArray:
        """Return d model / d x at each element of ``x`` (n,)."""
        step = _CUBE_ROOT_EPS * np.maximum(np.abs(x), float(np.ptp(x)) or 1.0)
        return np.asarray((self.model(x + step, *values) - self.model(x - step, *values)) / (2 * step))

    def spread(self, values: FloatArray) -> FloatArray:
        """Return the standard uncertainty of y - model at each row: the effective variance's root."""
        u_y = np.ones_like(self.y) if self.u_y is None else self.u_y
        if self.u_x is None:
            return u_y
        return np.asarray(np.hypot(u_y, self.slope(self.x, values) * self.u_x))

    def residual(self, values: FloatArray) -> FloatArray:
        """Return the standardised residuals of the readings, then those of the priors."""
        readings = (self.y - self.model(self.x, *values)) / self.spread(values)
        priors = [
            (p.prior.n - v) / p.prior.s for p, v in zip(self.parameters, values, strict=True) if p.prior is not None
        ]
        return np.concatenate([readings, np.asarray(priors, dtype=float)])

    def steps(self, values: FloatArray) -> FloatArray:
        """Return the finite-difference step of each parameter."""
        scale = [
            max(abs(v), 1e-2 * abs(p.start), p.prior.s if p.prior is not None else 0.0) or 1.0
            for p, v in zip(self.parameters, values, strict=True)
        ]
        return np.asarray(_CUBE_ROOT_EPS * np.asarray(scale), dtype=float)


def differences(function: Callable[[FloatArray], FloatArray], values: FloatArray, steps: FloatArray) -> FloatArray:
    """Return the Jacobian (n, p) of ``function`` at ``values`` by central differences."""
    columns = []
    for k, step in enumerate(steps):
        up, down = values.copy(), values.copy()
        up[k] += step
        down[k] -= step
        columns.append((function(up) - function(down)) / (up[k] - down[k]))
    return np.stack(columns, axis=-1)
