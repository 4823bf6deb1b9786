"""One more term in the model of a scan: do the readings ask for it, and what does the fit with it give?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from aotf_lab.crystal.scan.fit import ScanSolution, solve_again
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.checks import chi2_limit, t_limit, z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["asked_for", "limit", "strained", "tried"]

MUCH_WANDER, MUCH_LEAN = 0.03, 0.2


def limit(solution: ScanSolution, tests: int = 1) -> float:
    """Return by how many standard uncertainties a term has to differ from zero."""
    return z_limit(tests) if solution.fit.u_known else t_limit(solution.fit.dof, tests)


def asked_for(point: ScanPoint, column_mw: FloatArray) -> tuple[float, float]:
    """Return the size of a term (n,) and its u: scaled by the scatter that is left once the term is in."""
    size, u = point.term(column_mw)
    fit = point.solution.fit
    u /= fit.birge
    if not np.isfinite(u) or fit.dof <= 1:
        return size, np.inf
    rest = max(fit.chi2 - (size / u) ** 2, 0.0) / (fit.dof - 1)
    return size, u * (max(rest, 1.0) ** 0.5 if fit.u_known else rest**0.5)


def strained(solution: ScanSolution) -> bool:
    """Return whether a fit leaves or bends so much that a term may hide.

    Scatter, wander or lean are then beyond the usual, or no minimum was found.
    """
    wanders = solution.noise.wander > MUCH_WANDER and solution.noise.gain > chi2_limit(2)
    leans = abs(solution.fit.values[4]) > MUCH_LEAN
    return bool(solution.fit.birge > 1.0 or wanders or leans or solution.failure is not None)


def tried(solution: ScanSolution, changes: Mapping[str, object], *starts: Mapping[str, float]) -> ScanSolution | None:
    """Return the fit of the changed model from the best of ``starts``, or None where there is none."""
    model = solution.model
    kept = {"sloped": model.sloped, "second": model.second, "ranges": model.ranges} | dict(changes)
    changed = replace(model, **kept)  # type: ignore[arg-type]
    try:
        found = solve_again(solution, changed, starts)
    except (AotfLabError, np.linalg.LinAlgError):
        return None
    return found if found.failure is None else None
