"""The result of a fit: correlated parameters, what they rest on, and the checks they passed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import special
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.budget import variance_shares
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Fit"]


@dataclass(frozen=True)
class Fit:
    """What a fit found.

    ``parameters`` are correlated ``uncertainties`` numbers; ``values`` (p,) and ``covariance``
    (p, p) are the same as plain arrays. ``residuals`` (n,) are standardised by the stated
    uncertainties and ``leverage`` (n,) is the diagonal of the hat matrix. ``birge`` is the factor
    by which the scatter was scaled up (1 when it was not), ``u_known`` whether the readings came
    with uncertainties at all; ``noise`` is the standard uncertainty of one reading when they did
    not, estimated from the scatter. ``limits`` (2, p) are the bounds of the parameters.
    """

    parameters: Mapping[str, UFloat]
    values: FloatArray
    covariance: FloatArray
    chi2: float
    dof: float
    birge: float
    u_known: bool
    residuals: FloatArray
    leverage: FloatArray
    checks: tuple[Check, ...]
    noise: float | None = None
    limits: FloatArray | None = None

    @property
    def trusted(self) -> bool:
        """Whether every check passed."""
        return all(c.passed for c in self.checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    def coverage_factor(self, confidence: float = 0.95) -> float:
        """Return k such that value +- k u holds with ``confidence``.

        Normal while the stated uncertainties stand, Student t when the scatter had to be scaled
        up or was estimated from the readings (GUM G.3). Raises ``AotfLabError`` for a confidence
        outside 0 to 1.
        """
        if not 0 < confidence < 1:
            raise AotfLabError(
                "coverage probability", found=confidence, allowed="between 0 and 1", cure="ask for 0.95, say"
            )
        tail = 0.5 + confidence / 2
        if self.u_known and self.birge == 1.0:
            return float(special.ndtri(tail))
        return float(special.stdtrit(max(self.dof, 1.0), tail))

    def interval(self, value: UFloat, confidence: float = 0.95) -> tuple[float, float]:
        """Return the symmetric interval of ``value`` at ``confidence``."""
        half = self.coverage_factor(confidence) * value.s
        return value.n - half, value.n + half

    def budget(self, value: UFloat) -> dict[str, float]:
        """Return the share of ``value``'s variance by named cause, largest first."""
        return variance_shares(value)

    def with_checks(self, *checks: Check) -> Fit:
        """Return the same fit with ``checks`` added."""
        return replace(self, checks=self.checks + checks)

    def __str__(self) -> str:
        lines = [
            f"{name} = {value:.2uS}" if value.s > 0 else f"{name} = {value.n:.6g}"
            for name, value in self.parameters.items()
        ]
        lines.append(f"chi2/dof = {self.chi2:.1f}/{self.dof:.3g}")
        if self.birge > 1:
            lines.append(f"uncertainties scaled up by {self.birge:.2f}")
        lines += [str(c) for c in self.failed]
        return "\n".join(lines)


def standardised(fit: Fit) -> FloatArray:
    """Return the residuals divided by their own standard deviation sqrt(1 - leverage)."""
    return np.asarray(fit.residuals / np.sqrt(np.clip(1 - fit.leverage, 1e-12, None)))
