"""Refuse a value that a formula cannot take."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from aotf_lab.errors import AotfLabError

__all__ = ["Values", "as_values", "require"]

Values = NDArray[np.float64]
"""Floats of any shape; a numpy scalar where every argument was a scalar."""


def as_values(values: ArrayLike) -> Values:
    """Return ``values`` as floats, of the same shape."""
    return np.asarray(values, dtype=np.float64)


def require(holds: ArrayLike, value: ArrayLike, what: str, *, allowed: str, cure: str) -> None:
    """Raise ``AotfLabError`` with the first of ``value`` at which ``holds`` is not true.

    ``holds`` is written so that it is false for NaN, and has the shape of ``value``.
    """
    mask = np.atleast_1d(holds)
    if not mask.all():
        found = np.broadcast_to(np.atleast_1d(value), mask.shape)[~mask].flat[0]
        raise AotfLabError(what, found=float(f"{found:.6g}"), allowed=allowed, cure=cure)
