"""What is to be fitted: a model, its parameters, the readings and what is known of their errors."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, covariance_matrix

from aotf_lab.errors import AotfLabError, ReadingsError, Said

__all__ = ["FloatArray", "Model", "Parameter", "Problem", "differences"]

FloatArray = NDArray[np.float64]
Model = Callable[..., FloatArray]
"""``model(x, *values) -> FloatArray``: values in the order of the parameters, x as the caller gave it."""

_CUBE_ROOT_EPS: float = float(np.finfo(float).eps) ** (1 / 3)
_FIFTH_ROOT_EPS: float = float(np.finfo(float).eps) ** (1 / 5)


@dataclass(frozen=True)
class Parameter:
    """One parameter of a model.

    ``start`` is the first guess; ``low`` and ``high`` bound it. ``prior`` is what is known of it
    beforehand, an ``uncertainties`` number: it enters the fit as one more observation, and its
    variable stays visible in the budget of everything that is computed from the fit. An error
    that the readings share (a meter's gain) is a parameter whose prior is that shared variable.
    A prior without uncertainty holds the parameter where it is.

    Raises ``AotfLabError`` for a start that is not finite and for bounds that leave no room; a
    start outside the bounds is moved to the nearer one.
    """

    name: str
    start: float
    low: float = -np.inf
    high: float = np.inf
    prior: UFloat | None = None

    def __post_init__(self) -> None:
        if not np.isfinite(self.start) or not self.low < self.high:
            raise AotfLabError(
                f"start and bounds of the parameter {self.name}",
                found=Said(f"start {self.start:g} in {self.low:g} to {self.high:g}"),
                allowed="a finite start, and a lower bound below the upper one",
                cure="give a first guess between two different bounds",
            )
        object.__setattr__(self, "start", float(min(max(self.start, self.low), self.high)))


@dataclass(frozen=True)
class Problem:
    """A weighted fit with priors and, where ``u_x`` is given, errors in both variables.

    Shapes: ``y``, ``u_y``, ``u_x`` (n,); ``x`` is (n,) when ``u_x`` is given, else anything that
    the model understands. ``u_y`` None means unknown: it is then estimated from the scatter.
    ``scatter`` names the readings in the budget, ``places`` says where each row comes from.
    ``x_causes`` has for a row the variable of the error of its x where that is a cause of error elsewhere as well (the
    label of a line), None where x scatters: the result then moves with that variable. They are independent.

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
    x_causes: Sequence[UFloat | None] = field(default=())

    def __post_init__(self) -> None:
        self._refuse("value", self.y, np.isfinite(self.y))
        if isinstance(self.x, np.ndarray) and self.x.shape == self.y.shape and self.x.dtype.kind == "f":
            self._refuse("setting", self.x, np.isfinite(self.x))
        for values in (self.u_y, self.u_x):
            if values is not None:
                self._refuse("standard uncertainty", values, (values > 0) & np.isfinite(values))

    def _refuse(self, name: str, values: FloatArray, good: NDArray[np.bool_]) -> None:
        if good.all():
            return
        row = int(np.argmin(good))
        uncertain = name == "standard uncertainty"
        raise ReadingsError(
            f"{name} of {self.scatter}",
            where=self.place(row),
            found=float(values[row]),
            allowed="a finite number above zero" if uncertain else "a finite number",
            cure="state the accuracy of the instrument, or leave it out to have it estimated from the scatter"
            if uncertain
            else "correct the reading, or leave its row out",
        )

    def place(self, row: int) -> str:
        """Return where row ``row`` comes from."""
        return self.places[row] if row < len(self.places) else f"row {row + 1}"

    @cached_property
    def low(self) -> FloatArray:
        """The lower bounds (p,)."""
        return np.array([p.low for p in self.parameters])

    @cached_property
    def high(self) -> FloatArray:
        """The upper bounds (p,)."""
        return np.array([p.high for p in self.parameters])

    @cached_property
    def exact(self) -> dict[str, float]:
        """The parameters that are known exactly: held at these values."""
        return {p.name: float(p.prior.n) for p in self.parameters if p.prior is not None and p.prior.s == 0}

    @cached_property
    def prior_rows(self) -> FloatArray:
        """The priors as observations: (m, p), so that ``prior_rows @ (prior - values)`` has unit covariance.

        Raises ``AotfLabError`` when two priors are the same error.
        """
        known = [k for k, p in enumerate(self.parameters) if p.prior is not None and p.prior.s > 0]
        rows = np.zeros((len(known), len(self.parameters)))
        if known:
            priors = [self.parameters[k].prior for k in known]
            covariance = np.asarray(covariance_matrix(priors))
            scale = np.sqrt(np.diag(covariance))
            correlation = covariance / np.outer(scale, scale)
            if np.linalg.eigvalsh(correlation)[0] < 1e-10:
                raise AotfLabError(
                    "priors that are not independent",
                    found=", ".join(self.parameters[k].name for k in known),
                    allowed="one parameter for each error",
                    cure="let one parameter act wherever this error acts",
                )
            rows[:, known] = np.linalg.inv(np.linalg.cholesky(correlation)) / scale
        return rows

    @cached_property
    def prior_values(self) -> FloatArray:
        """The values (p,) known beforehand; the start where nothing is known."""
        return np.array([p.start if p.prior is None else p.prior.n for p in self.parameters])

    def slope(self, x: Any, values: FloatArray) -> FloatArray:
        """Return d model / d x at each element of ``x`` (n,), by five points of a step 1/1400 of the range.

        Where the model has no value that far out, three points much closer or, at an edge, two.
        """
        span = float(np.ptp(self.x)) or float(np.max(np.abs(self.x))) or 1.0
        step = (x + _FIFTH_ROOT_EPS * span) - x
        near = self.model(x + step, *values) - self.model(x - step, *values)
        far = self.model(x + 2 * step, *values) - self.model(x - 2 * step, *values)
        slope = np.asarray((8 * near - far) / (12 * step))
        return slope if np.isfinite(slope).all() else np.where(np.isfinite(slope), slope, self._close_slope(x, values))

    def _close_slope(self, x: Any, values: FloatArray) -> FloatArray:
        step = _CUBE_ROOT_EPS * np.maximum(np.abs(x), float(np.ptp(self.x)) or 1.0)
        up, here, down = (self.model(x + shift, *values) for shift in (step, 0.0, -step))
        one_sided = np.where(np.isfinite(up), up - here, here - down) / step
        both = (up - down) / (2 * step)
        return np.asarray(np.where(np.isfinite(both), both, one_sided))

    def spread(self, values: FloatArray) -> FloatArray:
        """Return the standard uncertainty of y - model at each row: the effective variance's root."""
        u_y = np.ones_like(self.y) if self.u_y is None else self.u_y
        if self.u_x is None:
            return u_y
        return np.asarray(np.hypot(u_y, self.slope(self.x, values) * self.u_x))

    def residual(self, values: FloatArray) -> FloatArray:
        """Return the standardised residuals of the readings, then those of the priors."""
        readings = (self.y - self.model(self.x, *values)) / self.spread(values)
        if len(self.prior_rows) == 0:
            return np.asarray(readings, dtype=float)
        return np.concatenate([readings, self.prior_rows @ (self.prior_values - values)])

    def steps(self, values: FloatArray) -> FloatArray:
        """Return the finite-difference step of each parameter."""
        scale = [
            max(abs(v), 1e-2 * abs(p.start), p.prior.s if p.prior is not None else 0.0) or 1.0
            for p, v in zip(self.parameters, values, strict=True)
        ]
        return np.asarray(self.reach * np.asarray(scale), dtype=float)

    @property
    def reach(self) -> float:
        """The best finite-difference step relative to a parameter: larger where ``slope`` makes the residual rough."""
        return _CUBE_ROOT_EPS if self.u_x is None else 4 * _CUBE_ROOT_EPS

    def jacobian(
        self, function: Callable[[FloatArray], FloatArray], values: FloatArray, steps: FloatArray | None = None
    ) -> FloatArray:
        """Return the derivatives (n, p) of ``function`` by the parameters, never asking outside their bounds."""
        return differences(function, values, self.steps(values) if steps is None else steps, self.low, self.high)


def differences(
    function: Callable[[FloatArray], FloatArray],
    values: FloatArray,
    steps: FloatArray,
    low: FloatArray | float = -np.inf,
    high: FloatArray | float = np.inf,
) -> FloatArray:
    """Return the Jacobian (n, p) of ``function`` at ``values`` by central differences.

    ``low`` and ``high`` (p,) are never crossed: at a bound the difference is one-sided, of second order.
    """
    low, high = np.broadcast_to(low, values.shape), np.broadcast_to(high, values.shape)
    columns = []
    for k, step in enumerate(steps):
        if values[k] + step <= high[k] and values[k] - step >= low[k]:
            up, down = _moved(values, k, step), _moved(values, k, -step)
            columns.append((function(up) - function(down)) / (up[k] - down[k]))
        else:
            inward = -step if values[k] + step > high[k] else step
            near, far = function(_moved(values, k, inward)), function(_moved(values, k, 2 * inward))
            columns.append((4 * near - far - 3 * function(values)) / (2 * inward))
    return np.stack(columns, axis=-1)


def _moved(values: FloatArray, k: int, shift: float) -> FloatArray:
    moved = values.copy()
    moved[k] += shift
    return moved
