"""Dwells that give every line the light energy that is wanted of it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError, Said

__all__ = ["equal_dwells"]


def equal_dwells(
    total_us: float, light: Sequence[UFloat | float], weights: Sequence[float], edges_us: Sequence[float]
) -> tuple[float, ...]:
    """Return the dwells (us), ``total_us`` in all, with light * (dwell + edge) in the ratio of ``weights``.

    ``light`` is each step's light while good (any unit), ``edges_us`` the full light that it gets outside the dwell.
    Raises ``AotfLabError`` where a dwell would have to be none.

    >>> equal_dwells(90.0, [2.0, 1.0], [1.0, 1.0], [0.0, 0.0])
    (30.0, 60.0)
    """
    level = np.array([float(getattr(v, "n", v)) for v in light])
    share = np.asarray(weights, dtype=float) / level
    edge = np.asarray(edges_us, dtype=float)
    dwell = (total_us + edge.sum()) * share / share.sum() - edge
    if not (dwell > 0).all():
        raise AotfLabError(
            "a dwell that would have to be none, for equal light", found=Said(f"{dwell.min():.3g} us"),
            allowed="above 0 us", cure="lengthen the sequence, or lower the weight of the other lines",
        )  # fmt: skip
    return tuple(float(d) for d in dwell)
