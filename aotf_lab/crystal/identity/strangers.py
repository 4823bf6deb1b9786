"""Peaks that are no line of the catalogue: how likely is a frequency then, and is it the ghost of another peak?

A ghost is a line driven by a harmonic of the oscillator: it shows at 1/2 or 1/3 of the line's frequency. Where a
peak stands just there, "no line" explains it far better than chance would.
"""

from __future__ import annotations

import numpy as np

from aotf_lab.crystal.identity.law import U_LAW
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["HARMONICS", "ghost_of", "log_density"]

HARMONICS = (2, 3)
_LOG_RANGE = float(np.log(2.0))
"""A stranger's frequency lies anywhere within one octave, the reach of a filter's driver (common practice)."""
_GHOSTS = 0.5
"""Share of ghosts among strangers: a judgement."""


def _gaps(peaks: Peaks, row: int) -> tuple[FloatArray, FloatArray]:
    """Return log(harmonic x peak / other) by harmonic and other peak (2, m), and its u; nan for the peak itself."""
    f, u = peaks.frequency_mhz, peaks.u_mhz
    gaps = np.log(np.multiply.outer(HARMONICS, f[row] / f))
    gaps[:, row] = np.nan
    return gaps, np.sqrt((u[row] / f[row]) ** 2 + (u / f) ** 2 + U_LAW**2)


def log_density(peaks: Peaks) -> FloatArray:
    """Return the log density (m,) of each peak's log f when it is none of the lines."""
    m = len(peaks)
    density = np.full(m, 1.0 / _LOG_RANGE)
    for row in range(m if m > 1 else 0):
        gaps, u = _gaps(peaks, row)
        bells = np.exp(-0.5 * (gaps / u) ** 2) / (u * np.sqrt(2 * np.pi))
        density[row] = (1 - _GHOSTS) / _LOG_RANGE + _GHOSTS * np.nansum(bells) / (len(HARMONICS) * (m - 1))
    return np.asarray(np.log(density))


def ghost_of(peaks: Peaks, row: int) -> tuple[int, int] | None:
    """Return the harmonic and the peak whose ghost the peak ``row`` seems to be, None when there is none."""
    gaps, u = _gaps(peaks, row)
    z = np.where(np.isnan(gaps), np.inf, np.abs(gaps) / u)
    harmonic, other = np.unravel_index(int(np.argmin(z)), z.shape)
    if z[harmonic, other] > z_limit(z.size):
        return None
    return HARMONICS[int(harmonic)], int(other)
