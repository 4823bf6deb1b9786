"""How far a number stands apart from the same number of the other sessions."""

from __future__ import annotations

import numpy as np

from aotf_lab.estimation.checks import t_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["LEAST_SESSIONS", "apart", "apart_limit"]

LEAST_SESSIONS = 5
"""Fewer sessions do not tell which of them stands apart."""

_SIGMA_OF_MAD = 1.4826
_ROUNDING = 1e-3
"""Share of its median below which a number that was rounded to be set differs by its rounding (no source)."""

_EFFICIENCY = 0.37
"""What the MAD makes of n readings, as a share of n (Rousseeuw and Croux, J. Am. Stat. Assoc. 88, 1273 (1993))."""

_FOR_FEW = 0.5
"""Degrees of freedom beyond that, as simulated (``tests/benchmarks/results/compare_outliers.md``)."""


def apart(values: FloatArray, u: FloatArray) -> FloatArray:
    """Return by how many spreads each of ``values`` (n sessions, m numbers) lies from the median of its column.

    The spread is 1.4826 times the median absolute deviation from that median, as in the modified z-score of Iglewicz
    and Hoaglin (NIST/SEMATECH e-Handbook 1.3.5.17), or the value's own ``u`` (n, m) where that is larger. A number
    without u (not a number) may be rounded: for it the spread is 0.001 of the median at the least. Not a number where
    a session lacks the number, where fewer than ``LEAST_SESSIONS`` have it, and where there is no spread at all.
    """
    score = np.full(values.shape, np.nan)
    enough = np.isfinite(values).sum(axis=0) >= LEAST_SESSIONS
    if enough.any():
        known, own = values[:, enough], u[:, enough]
        middle = np.nanmedian(known, axis=0)
        off = known - middle
        least = np.where(np.isnan(own), _ROUNDING * np.abs(middle), own)
        spread = np.maximum(_SIGMA_OF_MAD * np.nanmedian(np.abs(off), axis=0), least)
        score[:, enough] = np.divide(off, spread, out=np.full_like(off, np.nan), where=spread > 0.0)
    return score


def apart_limit(sessions: int, tests: int) -> float:
    """Return what the largest of ``tests`` scores exceeds by chance with ``SIGNIFICANCE`` at the most.

    A spread from few sessions is itself uncertain: Student t with the degrees of freedom that the MAD is worth.
    """
    return t_limit(_EFFICIENCY * (sessions - 1) + _FOR_FEW, tests)
