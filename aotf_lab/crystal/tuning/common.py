"""Between what the instruments indicate and what is true: the errors that all readings share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from aotf_lab.estimation import CommonError

__all__ = ["indicated_value", "true_value"]


def true_value(errors: Sequence[CommonError], indicated: Any) -> Any:
    """Return what is true where ``indicated`` (a number or an array of them) is shown."""
    for error in errors:
        indicated = error.applied_to(indicated)
    return indicated


def indicated_value(errors: Sequence[CommonError], true: Any) -> Any:
    """Return what is indicated where ``true`` (a number or a sequence) is true: the inverse of ``true_value``."""
    if errors and np.ndim(true) > 0:
        true = np.asarray(true, dtype=object).ravel()
    for error in reversed(errors):
        shift = error.sensitivity * error.variable
        true = true / (1 + shift) if error.kind == "relative" else true - shift
    return true
