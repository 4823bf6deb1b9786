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

    def adjusted_mhz(self) -> FloatArray:
        """Return the frequencies (n,) as the light tells them beside the counter: best linear guesses of the true ones.

        A gradient taken at the readings themselves shares their scatter with the residual, and a lag and a difference
        of the two ways, which are nearly one thing, would each be asked for by scatter alone.
        """
        table, model, noise = self.solution.table, self.solution.model, self.solution.noise
        values = self.solution.fit.values
        f, u = table.frequency_mhz, table.u_frequency_mhz
        if u is None or noise.about_mw is not None:
            return f
        step = 1e-4 * values[1]
        slope = table.light * (model.signal(f + step, *values) - model.signal(f - step, *values)) / (2 * step)
        through = model.trailing(np.diag(slope * u), values)
        return np.asarray(f + u * (through.T @ (noise.root.T @ self.residual[: len(f)])))

    def adjusted(self) -> ScanPoint:
        """Return the same neighbourhood with its gradient taken at ``adjusted_mhz``."""
        problem = replace(self.solution.problem, x=self.adjusted_mhz())
        return replace(self, gradient=-problem.jacobian(problem.residual, self.solution.fit.values))

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
