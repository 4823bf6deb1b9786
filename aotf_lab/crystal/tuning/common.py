"""Between what the instruments indicate and what is true: the errors that all readings share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation import CommonError
from aotf_lab.estimation.linear import linear, nominals

__all__ = ["indicated_value", "true_value"]


def true_value(errors: Sequence[CommonError], indicated: Any) -> Any:
    """Return what is true where ``indicated`` (a number or a sequence of them) is shown."""
    for error in errors:
        indicated = _changed(error, indicated, 1) if np.ndim(indicated) > 0 else error.applied_to(indicated)
    return indicated


def indicated_value(errors: Sequence[CommonError], true: Any) -> Any:
    """Return what is indicated where ``true`` (a number or a sequence) is true: the inverse of ``true_value``."""
    for error in reversed(errors):
        shift = error.sensitivity * error.variable
        if np.ndim(true) > 0:
            true = _changed(error, true, -1)
        else:
            true = true / (1 + shift) if error.kind == "relative" else true - shift
    return true


def _changed(error: CommonError, numbers: Any, way: Literal[1, -1]) -> NDArray[np.object_]:
    """Return ``numbers`` (n,) with the error added (``way`` 1) or taken off (-1)."""
    numbers = np.asarray(numbers, dtype=object).ravel()
    shift = error.sensitivity * error.variable
    plain = nominals(numbers)
    if error.kind == "offset":
        return linear(plain + way * shift.n, (1.0, numbers), (way, shift))
    factor = (1.0 + shift.n) ** way
    return linear(plain * factor, (factor, numbers), (way * plain * factor / (1.0 + shift.n), shift))
