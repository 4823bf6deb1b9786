"""Whether the kept numbers still hold, have moved as a whole, or have changed their shape."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.estimation.checks import chi2_limit, z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.opening.condition import Innovation

__all__ = ["LEVER", "Judgement", "judged"]

LEVER = 0.1
"""Nearer together than this share of half the range, readings count as one place (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the gaps of m readings are made of.

    ``sizes`` (j,) with ``u`` (j,) are the terms needed: a shift, and where that does not explain the readings a tilt;
    ``moved`` says whether they stand out. ``chi2`` on ``dof`` with ``limit`` is what they leave; above it the shape
    has changed, or a reading is wrong: ``odd`` is the one without which the others would agree, None where no single
    one is. ``z`` is the shift alone over its u.
    """

    sizes: FloatArray
    u: FloatArray
    z: float
    moved: bool
    chi2: float
    dof: int
    limit: float
    odd: int | None = None

    @property
    def same_shape(self) -> bool:
        """Whether the terms explain the readings."""
        return self.chi2 <= self.limit


def judged(new: Innovation, columns: FloatArray, caution: float = 1.0) -> Judgement:
    """Return what ``new`` is made of; ``columns`` (m, 2) are the gaps by one unit of shift and of tilt.

    A tilt is looked for with three readings or more at two places or more, where something is left to judge it by, and
    taken for one when it is smaller than the shift: a drift moves all of the range the same way. ``caution`` (1 or
    more) widens the limits where the u themselves are uncertain.
    """
    shift = _explained(new, columns[:, :1])
    z = float(shift.sizes[0] / shift.u[0])
    moved = abs(z) > caution * z_limit()
    found = _judgement(shift, z, moved, caution)
    if found.same_shape:
        return found
    if len(new.gap) > 2 and np.ptp(columns[:, 1] / columns[:, 0]) > LEVER:
        tilted = _judgement(_explained(new, columns), z, True, caution)
        if tilted.same_shape and abs(tilted.sizes[1]) <= abs(tilted.sizes[0]):
            return tilted
    return replace(found, moved=True, odd=_odd_one(new, columns[:, :1], caution))


@dataclass(frozen=True, eq=False)
class _Explained:
    sizes: FloatArray
    u: FloatArray
    chi2: float
    dof: int


def _explained(new: Innovation, columns: FloatArray) -> _Explained:
    """Return generalised least squares of the gaps on ``columns`` (m, j)."""
    whitener = np.linalg.cholesky(new.covariance)
    white, gap = np.linalg.solve(whitener, columns), np.linalg.solve(whitener, new.gap)
    covariance = np.linalg.inv(white.T @ white)
    sizes = covariance @ white.T @ gap
    left = gap - white @ sizes
    return _Explained(sizes, np.sqrt(np.diag(covariance)), float(left @ left), len(gap) - len(sizes))


def _judgement(found: _Explained, z: float, moved: bool, caution: float) -> Judgement:
    limit = caution**2 * chi2_limit(found.dof) if found.dof else 0.0
    chi2 = found.chi2 if found.dof else 0.0
    return Judgement(found.sizes, found.u, z, moved, chi2, found.dof, limit)


def _odd_one(new: Innovation, columns: FloatArray, caution: float) -> int | None:
    """Return the one reading without which the others agree with a shift, None where there is none or several."""
    odd = []
    for k in range(len(new.gap)) if len(new.gap) > 2 else ():
        others = np.delete(np.arange(len(new.gap)), k)
        part = Innovation(new.gap[others], new.covariance[np.ix_(others, others)], new.causes, new.effects[others])
        left = _explained(part, columns[others])
        if left.chi2 <= caution**2 * chi2_limit(left.dof):
            odd.append(k)
    return odd[0] if len(odd) == 1 else None
