"""Many numbers at once to first order: values by arrays, and how each moves with the numbers that it rests on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from uncertainties import UFloat
from uncertainties.core import AffineScalarFunc, LinearCombination

from aotf_lab.estimation.problem import FloatArray

__all__ = ["linear", "nominals"]


def linear(nominal: FloatArray, *terms: tuple[ArrayLike, Any]) -> NDArray[np.object_]:
    """Return the numbers (n,) that are ``nominal`` (n,) and move with each term by its slope.

    A term is ``(slopes, numbers)``: derivatives, (n,) or one for all, and a number with uncertainty that all rest on,
    or (n,) of them, one for each, in a list, an array or a generator. Plain numbers do not move; what rests on
    nothing else is a ``float``. Raises ``ValueError`` for terms of another length.

    The same as arithmetic with ``ufloat``s row by row, without its 10 us an operation. ``_linear_part`` is what such
    arithmetic refers to: as there, what a row rests on is gathered where its u is asked for. ``derivatives`` gathers at
    once what several rows share; taken of every number it would cost a spectrum a third more time. The name may change
    with a release of ``uncertainties``, so pyproject.toml takes none that was not tried.

    >>> from uncertainties import ufloat
    >>> gain = ufloat(2.0, 0.1)
    >>> first, second = linear(np.array([2.0, 6.0]), ([1.0, 3.0], gain))  # gain and 3 gain
    >>> print(f"{second:.1f}, {(second - 3 * first).s:.1f}")
    6.0+/-0.3, 0.0
    """
    rows: list[list[tuple[float, LinearCombination]]] = [[] for _ in nominal]
    for slopes, numbers in terms:
        each = np.broadcast_to(np.asarray(slopes, dtype=float), len(rows)).tolist()
        if isinstance(numbers, np.ndarray) and numbers.ndim == 0:
            numbers = numbers.item()
        if isinstance(numbers, UFloat):
            shared = LinearCombination(numbers.derivatives)
            for row, slope in zip(rows, each, strict=True):
                row.append((slope, shared))
        elif isinstance(numbers, Iterable):
            before: Any = None
            for row, slope, number in zip(rows, each, numbers, strict=True):
                if isinstance(number, UFloat):
                    part = LinearCombination(number.derivatives) if number is before else number._linear_part
                    row.append((slope, part))
                before = number
    result = np.empty(len(rows), dtype=object)
    for k, (value, row) in enumerate(zip(np.asarray(nominal, dtype=float).tolist(), rows, strict=True)):
        result[k] = AffineScalarFunc(value, LinearCombination(row)) if row else value
    return result


def nominals(numbers: Any) -> FloatArray:
    """Return the plain values (n,) of a sequence of numbers with or without uncertainty."""
    return np.array([number.n if isinstance(number, UFloat) else float(number) for number in numbers])
