"""Whether what a fit leaves has a shape: would further terms explain more of it than scatter does?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import special

from aotf_lab.estimation import SIGNIFICANCE, Check, Fit, Problem
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["terms_check"]


def terms_check(name: str, problem: Problem, fit: Fit, terms: FloatArray, what: str, cure: str) -> Check:
    """Return the check that the ``terms`` (n, k), in the unit of the readings, explain no more than chance.

    They are fitted to the residuals beside the fit's own parameters. The drop of chi-square is held against chi-square
    of k degrees of freedom; where the scatter was scaled or estimated, against Fisher's F of k and the rest.
    """
    if fit.noise is not None:
        problem = replace(problem, u_y=np.full_like(problem.y, fit.noise))
    values, spread = fit.values, problem.spread(fit.values)
    steps = problem.steps(values)
    own = differences(lambda v: np.asarray(problem.model(problem.x, *v)), values, steps, problem.low, problem.high)
    free = [p.prior is None or p.prior.s > 0 for p in problem.parameters]
    rows = np.vstack([own / spread[:, None], -problem.prior_rows])[:, free]
    residual = problem.residual(values)
    extra = np.zeros((len(residual), terms.shape[1]))
    extra[: len(spread)] = terms / spread[:, None]
    before, after = _left(rows, residual), _left(np.hstack([rows, extra]), residual)
    k, rest = terms.shape[1], fit.dof - terms.shape[1]
    if rest < 1:
        return Check(name, True, f"{len(problem.y)} readings are too few to see {what}")
    drop = before - after
    if fit.u_known and fit.birge == 1.0:
        limit = chi2_limit(k)
    else:
        drop, limit = drop / k * rest / max(after, 1e-300), float(special.fdtri(k, rest, 1.0 - SIGNIFICANCE))
    detail = f"{what} would explain {drop:.1f} of the scatter (limit {limit:.1f})"
    passed = bool(drop <= limit)
    return Check(name, passed, detail if passed else f"{detail}; {cure}")


def _left(rows: FloatArray, residual: FloatArray) -> float:
    """Return the sum of squares that a linear fit of ``rows`` leaves of ``residual``."""
    scale = np.linalg.norm(rows, axis=0)
    columns = rows / np.where(scale > 0, scale, 1.0)
    step = np.linalg.lstsq(columns, residual, rcond=1e-10)[0]
    return float(np.sum((residual - columns @ step) ** 2))
