"""How much light of a continuous spectrum a passband lets through: its equivalent width, sidelobes included."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import itj0y0

from aotf_lab.physics.coupled_waves import passband_fwhm, peak_efficiency
from aotf_lab.physics.domain import Values, as_values, require

__all__ = ["passband_area"]

_WEAK = 1e-9


def passband_area(drive_ratio: ArrayLike) -> Values:
    """Return the integral of the efficiency over frequency, over its value in tune and the FWHM.

    1.1288 in weak drive, 1.3251 at full drive (``drive_ratio`` = P / P_sat = 1), where the sidelobes hold more.
    Derivation: let the crystal's length grow by l from 0 to 1. d/dl of the integral over D of
    q^2 sin^2(l s) / s^2, s^2 = q^2 + D^2, is q^2 times the integral of sin(2 l s) / s, which is pi J0(2 l q)
    (Gradshteyn & Ryzhik 3.876, from memory; checked by quadrature in the tests). Hence the area in D is
    (pi q / 2) times the integral of J0 from 0 to 2 q.

    Raises ``AotfLabError`` unless 0 <= drive_ratio < 4.

    >>> [round(float(a), 4) for a in passband_area([0.0, 1.0])]
    [1.1288, 1.3251]
    """
    ratio = as_values(drive_ratio)
    require(
        (ratio >= 0) & (ratio < 4), ratio, "drive ratio P / P_sat without a meaning here", allowed="0 to below 4",
        cure="give RF power divided by the power for full diffraction",
    )  # fmt: skip
    q = np.pi / 2 * np.sqrt(np.maximum(ratio, _WEAK))
    area = np.pi * q / 2 * itj0y0(2 * q)[0] / peak_efficiency(np.maximum(ratio, _WEAK))
    return as_values(area / (np.pi * passband_fwhm(ratio)))
