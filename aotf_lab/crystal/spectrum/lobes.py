"""The two parts of a passband: the main lobe, and what lies beyond its nulls.

A broad source is seen through both. The sidelobes of coupled waves fall with the square of the distance only and hold
a tenth (weak drive) to a quarter (full drive) of the whole area, spread far over the spectrum: they are stray light.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.crystal.scan.model import skewed_detuning
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm, peak_efficiency

__all__ = ["lobe_area", "lobe_envelope", "stray"]

_LEAST_DRIVE = 1e-6
_POINTS = 241


def _upright(detuning: FloatArray, skew: float) -> FloatArray:
    """Return the d whose skewed detuning is ``detuning`` (rad)."""
    d = detuning.copy()
    for _ in range(30):
        d = detuning / (1.0 - skew * np.tanh(d))
    return d


def _per_fwhm(drive: FloatArray, skew: float) -> FloatArray:
    """Return by how many rad of d the FWHM spans, for drive ratios of any shape."""
    half = 0.5 * np.pi * passband_fwhm(drive)
    return np.asarray(_upright(half, skew) - _upright(-half, skew))


def _null(drive: FloatArray) -> FloatArray:
    """Return the detuning (rad) of the first null: where s = pi."""
    return np.asarray(np.sqrt(np.pi**2 - np.pi**2 / 4 * drive))


def _drives(drive_ratio: ArrayLike) -> FloatArray:
    return np.asarray(np.maximum(np.asarray(drive_ratio, dtype=float), _LEAST_DRIVE))


def lobe_area(drive_ratio: ArrayLike, skew: float = 0.0) -> FloatArray:
    """Return the main lobe's integral over frequency, over peak and FWHM, at drive ratios (n,).

    >>> float(lobe_area([0.0]).round(4)[0])  # 0.9028 of the whole passband's 1.1288, as of any sinc^2
    1.0191
    """
    drive = np.atleast_1d(_drives(drive_ratio))[:, None]
    leaning = np.linspace(-1.0, 1.0, _POINTS) * _null(drive)
    h = diffraction_efficiency(leaning, drive) / peak_efficiency(drive)
    area = np.trapezoid(h, _upright(leaning, skew), axis=1)
    return np.asarray(area / _per_fwhm(drive[:, 0], skew))


def stray(offset_in_fwhm: FloatArray, drive_ratio: ArrayLike, skew: float = 0.0) -> FloatArray:
    """Return the passband beyond its first nulls, over its peak, at offsets f - f(light) in FWHM; they broadcast."""
    drive = _drives(drive_ratio)
    leaning = skewed_detuning(offset_in_fwhm * _per_fwhm(drive, skew), skew)
    h = diffraction_efficiency(leaning, drive) / peak_efficiency(drive)
    return np.asarray(np.where(np.abs(leaning) > _null(drive), h, 0.0))


def lobe_envelope(offset_in_fwhm: float, drive_ratio: float) -> float:
    """Return what the sidelobes reach at most, over the peak: q^2 / (sin^2 q (q^2 + D^2)), D at the offset in FWHM.

    >>> round(lobe_envelope(1.6, 0.0), 3)  # about where the first sidelobe stands, at 0.047 of the peak
    0.05
    """
    drive = float(_drives(drive_ratio))
    q2 = np.pi**2 / 4 * drive
    d = np.pi * float(passband_fwhm(drive)) * offset_in_fwhm
    return float(q2 / np.sin(q2**0.5) ** 2 / (q2 + d * d))
