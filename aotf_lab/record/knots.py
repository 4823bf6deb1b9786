"""How many knots a kept curve needs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["enough_knots", "same_curve"]

_Kept = TypeVar("_Kept")

_MOST = 6
_MHZ, _SHARE_OF_U = 0.25e-4, 0.25e-2


def same_curve(fitted: Iterable[UFloat], kept: Iterable[UFloat]) -> bool:
    """Return whether values agree to a quarter of 0.1 kHz, and their u to a quarter of 1 %."""
    return all(abs(a.n - b.n) < _MHZ and abs(b.s - a.s) <= _SHARE_OF_U * a.s for a, b in zip(fitted, kept, strict=True))


def enough_knots(
    made: Callable[[FloatArray], _Kept], agrees: Callable[[_Kept], bool], nodes: FloatArray, digits: int
) -> _Kept:
    """Return the first of ``made(knots)`` that ``agrees``, the intervals of ``nodes`` (m,) cut into 1, 2, ... parts.

    Knots between the ends are rounded to ``digits`` decimals, so that a person can read them.
    Raises ``RecordError`` when even 6 parts do not do.
    """
    for parts in range(1, _MOST + 1):
        places = np.arange(parts * (len(nodes) - 1) + 1) / parts
        knots = np.interp(places, np.arange(len(nodes)), nodes)
        knots[1:-1] = np.round(knots[1:-1], digits)
        kept = made(knots)
        if agrees(kept):
            return kept
    raise RecordError(
        "the curve is too rough to be kept by its knots",
        found=Said(f"a disagreement at {_MOST * (len(nodes) - 1) + 1} knots"), allowed="0.1 kHz, and 1 % of u",
        cure="look at the curve: it bends within a few readings",
    )  # fmt: skip
