"""The linear neighbourhood of a fitted scan: what one more term of the model would explain."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.estimation.problem import FloatArray

__all__ = ["ScanPoint"]


@dataclass(frozen=True)
class ScanPoint:
    """Independent readings of unit scatter, then priors, about the fit.

    ``residual`` (n + m,), and ``gradient`` (n + m, p) of the model by the parameters.
    """

    solution: ScanSolution
    residual: FloatArray
    gradient: FloatArray

    @classmethod
    def of(cls, solution: ScanSolution) -> ScanPoint:
        """Return the neighbourhood of ``solution``."""
        problem, fit = solution.problem, solution.fit
        if fit.noise is not None:
            problem = replace(problem, u_y=np.full_like(problem.y, fit.noise))
        return cls(solution, problem.residual(fit.values), -problem.jacobian(problem.residual, fit.values))

    def term(self, column_mw: FloatArray, without: tuple[str, ...] = ()) -> tuple[float, float]:
        """Return how much of ``column_mw`` (n,) the readings ask for beside the model, and its standard uncertainty.

        The parameters make room for it, except those named in ``without``. The uncertainty of a term that cannot be
        told from the model is infinite.
        """
        fit = self.solution.fit
        white = self.solution.noise.whitened(column_mw) / (1.0 if fit.noise is None else fit.noise)
        column = np.concatenate([white, np.zeros(len(self.residual) - len(white))])
        kept = [k for k, name in enumerate(fit.parameters) if name not in without]
        basis = np.linalg.qr(self.gradient[:, kept])[0]
        rest = column - basis @ (basis.T @ column)
        square = float(rest @ rest)
        if square < 1e-12 * float(column @ column) or square == 0:
            return 0.0, float("inf")
        return float(rest @ self.residual) / square, square**-0.5 * fit.birge
