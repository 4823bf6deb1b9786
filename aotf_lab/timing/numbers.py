"""Numbers with or without uncertainty, and what a stated one must be."""

from __future__ import annotations

import math
from typing import Any, TypeAlias

from uncertainties import UFloat, nominal_value

from aotf_lab.errors import AotfLabError

__all__ = ["Number", "nominal", "require_above_zero"]

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
