"""What each reading does to the result: leave it out and see."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.problem import FloatArray, Problem, differences
from aotf_lab.estimation.weighted import fit_problem

__all__ = ["LeftOut", "leave_one_out", "select_rows"]


@dataclass(frozen=True)
class LeftOut:
    """What the other readings say of one that was left out.

    ``gap`` is its value minus the value that the others predict, ``u`` the standard uncertainty of
    that gap (the others' prediction and its own stated uncertainty), ``chi2`` that of the others
    alone, ``values`` (p,) their parameters.
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


def leave_one_out(problem: Problem) -> tuple[LeftOut, ...]:
    """Fit ``problem`` once without each reading and compare that reading with the prediction.

    ``problem.x`` must be indexable by row. Raises as ``fit_problem`` when a fit without one of the
    readings is impossible.
    """
    return tuple(_without(problem, row) for row in range(len(problem.y)))


def _without(problem: Problem, row: int) -> LeftOut:
    rest = select_rows(problem, np.delete(np.arange(len(problem.y)), row))
    single = select_rows(problem, np.array([row]))
    fit = fit_problem(rest)

    def prediction(values: FloatArray) -> FloatArray:
        return np.asarray(problem.model(single.x, *values))

    gradient = differences(prediction, fit.values, rest.steps(fit.values))[0]
    spread = single.spread(fit.values)[0]
    u = float(np.hypot(np.sqrt(gradient @ fit.covariance @ gradient), spread))
    gap = float(single.y[0] - prediction(fit.values)[0])
    return LeftOut(row, problem.place(row), gap, u, fit.chi2, fit.values)


def select_rows(problem: Problem, rows: NDArray[np.intp]) -> Problem:
    """Return ``problem`` with only these ``rows``."""
    return replace(
        problem,
        x=problem.x[rows],
        y=problem.y[rows],
        u_y=None if problem.u_y is None else problem.u_y[rows],
        u_x=None if problem.u_x is None else problem.u_x[rows],
        places=tuple(problem.place(int(r)) for r in rows),
    )
