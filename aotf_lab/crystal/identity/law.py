"""The tuning law in logarithms, so that what some lines say of the others is a chain of linear updates.

log f = log s + log(dn/wavelength) + tilt x + bend x^2, x = reference/wavelength - 1: the law of ``crystal.tuning.law``
to first order in tilt and bend, under the same weak priors. What the logarithm adds, tilt^2 x^2 / 2, is a bend.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.crystal.identity.candidates import Candidates
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.crystal.tuning.law import SHAPE_PRIORS, TuningLaw
from aotf_lab.estimation.problem import FloatArray

__all__ = ["U_LAW", "LogLaw", "log_law"]

U_LAW = 1e-4
"""Relative standard uncertainty of the law itself at one line.

Exact phase matching of parallel-tangent cuts of 6 to 33 degrees over 440 to 785 nm leaves 1e-5 rms, and 5e-5 to 7e-5
when the extraordinary pole is moved by 1 nm.
"""

_SCALE_M_S, _U_LOG_SCALE = 350.0, 1.5
"""What is known of s before any peak: 80 to 1600 m/s within one standard uncertainty, any cut of 5 to 35 degrees."""


@dataclass(frozen=True)
class LogLaw:
    """Lines (n,) and peaks (m,) in logarithms of the frequency in MHz, and what is known of (log s, tilt, bend)."""

    law: TuningLaw
    basis: FloatArray
    offset: FloatArray
    line_variance: FloatArray
    log_peak: FloatArray
    peak_variance: FloatArray
    prior_mean: FloatArray
    prior_covariance: FloatArray
    scale_known: bool

    def chi2(self, peaks: NDArray[np.intp], lines: NDArray[np.intp]) -> float:
        """Return the least chi-square, priors included, when ``peaks`` are ``lines`` (both of one length)."""
        rows = self.basis[lines]
        gap = self.log_peak[peaks] - self.offset[lines] - rows @ self.prior_mean
        spread = rows @ self.prior_covariance @ rows.T + np.diag(self.peak_variance[peaks] + self.line_variance[lines])
        return float(gap @ np.linalg.solve(spread, gap))

    def rank(self, matched: int) -> int:
        """Return the degrees of freedom of the chi-square of ``matched`` lines."""
        return matched if self.scale_known else max(matched - 1, 0)


def log_law(peaks: Peaks, lines: Candidates, material: str, scale: UFloat | None, widened: float) -> LogLaw:
    """Return the law for these peaks and lines; ``scale`` (m/s) is s where it is known, the shape's priors widened."""
    nm = lines.wavelength_nm
    law = TuningLaw(material, float(np.round(1 / np.mean(1 / nm))))
    step = 1e-4 * nm
    slope = (np.log(law(nm + step, 1.0, 0.0, 0.0)) - np.log(law(nm - step, 1.0, 0.0, 0.0))) / (2 * step)
    x = law.reference_nm / nm - 1.0
    centre = _SCALE_M_S if scale is None else float(scale.n)
    u_log = _U_LOG_SCALE if scale is None else float(scale.s / scale.n)
    return LogLaw(
        law,
        np.column_stack([np.ones_like(x), x, x * x]),
        np.log(law(nm, 1.0, 0.0, 0.0)),
        (slope * lines.u_wavelength_nm) ** 2,
        np.log(peaks.frequency_mhz),
        (peaks.u_mhz / peaks.frequency_mhz) ** 2 + U_LAW**2,
        np.array([np.log(centre), 0.0, 0.0]),
        np.diag(np.square([u_log, *(widened * u for u in SHAPE_PRIORS.values())])),
        scale is not None,
    )
