"""Numbers with or without uncertainty, and what a stated one must be."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeAlias

from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.errors import AotfLabError

__all__ = ["Number", "nominal", "require_above_zero", "through"]

Number: TypeAlias = UFloat | float


def nominal(number: Any) -> float:
    """Return the value of ``number`` without its uncertainty."""
    return float(nominal_value(number))


def require_above_zero(what: str, **stated: Any) -> None:
    """Raise ``AotfLabError`` for the first of ``stated`` that is not None and not a finite number above zero."""
    for name, number in stated.items():
        if number is not None and not (math.isfinite(nominal(number)) and nominal(number) > 0):
            raise AotfLabError(
                f"{name} of {what}", found=nominal(number), allowed="above zero", cure="correct it, or leave it out"
            )


def through(function: Callable[..., float], *numbers: Any) -> UFloat | float:
    """Return ``function`` of the values of ``numbers``, with their uncertainties carried by central differences.

    >>> from uncertainties import ufloat
    >>> print(f"{through(lambda a, b: a * b, ufloat(2.0, 0.1), 3.0):.1f}")
    6.0+/-0.3
    """
    at = [nominal(n) for n in numbers]
    result: UFloat | float = float(function(*at))
    for k, number in enumerate(numbers):
        u = float(std_dev(number))
        if u > 0:
            step = min(0.1 * u, 1e-4 * abs(at[k])) or 0.1 * u
            up, down = (function(*at[:k], at[k] + s, *at[k + 1 :]) for s in (step, -step))
            result = result + (up - down) / (2.0 * step) * (number - at[k])
    return result
