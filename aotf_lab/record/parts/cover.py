"""The shortest set of readings that restores what is gone: an exact set cover."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import optimize

from aotf_lab.record.parts.known import Restoring, restoring

__all__ = ["shortest_set"]


def shortest_set(gone: Mapping[str, int], known: Mapping[str, Restoring] | None = None) -> tuple[Restoring, ...]:
    """Return the sets of readings that restore ``gone`` (result -> how far gone) in the fewest minutes.

    In the order in which they are taken. A result that no known readings restore is left out. Exact, by mixed-integer
    linear programming (minimal weighted set cover).

    >>> [r.key for r in shortest_set({"tuning": 2, "passband": 1})]
    ['scan_two']
    """
    sets = list((restoring() if known is None else known).values())
    serves = np.array([[float(s.restores.get(result, 0) >= how) for s in sets] for result, how in gone.items()])
    if not len(serves):
        return ()
    reachable = serves[serves.any(axis=1)]
    if not len(reachable):
        return ()
    found = optimize.milp(
        np.array([s.minutes for s in sets]), integrality=np.ones(len(sets)), bounds=optimize.Bounds(0.0, 1.0),
        constraints=optimize.LinearConstraint(reachable, lb=1.0),
    )  # fmt: skip
    return tuple(s for s, taken in zip(sets, found.x, strict=True) if taken > 0.5)
