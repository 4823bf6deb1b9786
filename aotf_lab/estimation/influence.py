"""What each reading does to the result: leave it out and see."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray, Problem
from aotf_lab.estimation.solver import started_at
from aotf_lab.estimation.weighted import fit_problem

__all__ = ["LeftOut", "leave_one_out", "select_rows"]


@dataclass(frozen=True)
class LeftOut:
    """What the other readings say of one that was left out.

    ``gap`` is its value minus the value that the others predict, ``u`` the standard uncertainty of
    that gap (the others' prediction and its own uncertainty, scaled up as far as the others'
    scatter was), ``chi2`` that of the others alone, ``values`` (p,) their parameters.
    """

    row: int
    place: str
    gap: float
    u: float
    chi2: float
    values: FloatArray

    @property
    def z(self) -> float:
        """The gap in standard uncertainties."""
        return self.gap / self.u


def leave_one_out(problem: Problem, fit: Fit | None = None) -> tuple[LeftOut, ...]:
    """Fit ``problem`` once without each reading and compare that reading with the prediction.

    ``problem.x`` must be indexable by row. ``fit`` is the result with all readings, where the
    search then starts; without it that is fitted first. Raises as ``fit_problem`` when a fit
    without one of the readings is impossible.
    """
    whole = fit_problem(problem) if fit is None else fit
    started = started_at(problem, whole.values)
    return tuple(_without(started, row) for row in range(len(problem.y)))


def _without(problem: Problem, row: int) -> LeftOut:
    rest = select_rows(problem, np.delete(np.arange(len(problem.y)), row))
    single = select_rows(problem, np.array([row]))
    fit = fit_problem(rest, thorough=False)
    whole = problem if fit.noise is None else replace(problem, u_y=np.full_like(problem.y, fit.noise))
    with np.errstate(all="ignore"):
        gradient = problem.jacobian(lambda v: np.asarray(single.model(single.x, *v), dtype=float), fit.values)[0]
        predicted = float(single.model(single.x, *fit.values)[0])
        spread = float(whole.spread(fit.values)[row]) * fit.birge
    u = float(np.hypot(np.sqrt(gradient @ fit.covariance @ gradient), spread))
    return LeftOut(row, problem.place(row), float(single.y[0] - predicted), u, fit.chi2, fit.values)


def select_rows(problem: Problem, rows: NDArray[np.intp]) -> Problem:
    """Return ``problem`` with only these ``rows``."""
    return replace(
        problem,
        x=problem.x[rows],
        y=problem.y[rows],
        u_y=None if problem.u_y is None else problem.u_y[rows],
        u_x=None if problem.u_x is None else problem.u_x[rows],
        places=tuple(problem.place(int(r)) for r in rows),
        x_causes=tuple(problem.x_causes[r] for r in rows) if problem.x_causes else (),
    )
