"""Named causes of error that many readings, and many curves, share.

A meter's gain error is one number: the same in every reading of that meter. It is carried as one
``uncertainties`` variable, so that it cancels in every difference that it should cancel in.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass, field
from typing import Literal

from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError

__all__ = ["CommonError", "new_cause"]


def new_cause(name: str, u: float, nominal: float = 0.0) -> UFloat:
    """Return a new shared variable ``nominal +- u`` tagged ``name``.

    An error of size zero is allowed: nothing is then added. Raises ``AotfLabError`` when ``u`` is
    negative, infinite or not a number.

    >>> new_cause("counter time base", 2e-6).tag
    'counter time base'
    """
    if not (math.isfinite(u) and u >= 0):
        raise AotfLabError(
            f"standard uncertainty of {name}",
            found=u,
            allowed="a finite number, zero or more",
            cure="state the size of the error",
        )
    if u > 0:
        return ufloat(nominal, u, tag=name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        return ufloat(nominal, u, tag=name)


@dataclass(frozen=True)
class CommonError:
    """An error that all readings of one column share.

    ``variable`` is the shared variable (mean 0). With ``kind`` "relative" the true value is
    ``indicated * (1 + sensitivity * variable)``; with "offset" it is
    ``indicated + sensitivity * variable``, in the column's unit.
    """

    name: str
    column: str
    kind: Literal["relative", "offset"]
    variable: UFloat
    sensitivity: float = field(default=1.0)

    def applied_to(self, value: UFloat | float) -> UFloat:
        """Return ``value`` (as indicated) with this error added: the true value."""
        error = self.sensitivity * self.variable
        return value * (1 + error) if self.kind == "relative" else value + error
