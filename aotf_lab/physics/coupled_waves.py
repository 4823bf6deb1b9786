"""Efficiency against drive and detuning, by coupled waves, and the light lost to a frequency error.

eta = q^2 sin^2(s) / s^2 with s^2 = q^2 + D^2 and q = (pi/2) sqrt(drive ratio), where the drive ratio is
P / P_sat and D the detuning in rad (half the phase mismatch over the interaction length). Source: coupled-mode
theory, e.g. Yariv & Yeh, Optical Waves in Crystals (1984). With
h(y) = sin(sqrt y) / sqrt y it reads eta = q^2 h(q^2 + D^2)^2.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values, require

__all__ = [
    "detuning_for_light",
    "diffraction_efficiency",
    "light_lost",
    "passband_fwhm",
    "peak_efficiency",
    "sidelobe_level_db",
]

_FIRST_SIDELOBE = 4.493409457909064
"""Where |sin s / s| has its first maximum beyond s = pi: the first root of tan s = s."""


def _drive_parameter(drive_ratio: ArrayLike, upper: float = np.inf) -> Values:
    ratios = as_values(drive_ratio)
    allowed = "0 or more" if np.isinf(upper) else f"0 to below {upper:g}"
    require(
        (ratios >= 0) & (ratios < upper), ratios, "drive ratio P / P_sat without a meaning here", allowed=allowed,
        cure="give RF power divided by the power for full diffraction",
    )  # fmt: skip
    return as_values(np.pi / 2 * np.sqrt(ratios))


def _sinc(s: Values) -> Values:
    return as_values(np.sinc(s / np.pi))


def _square_where_sinc_is(target: Values) -> Values:
    """Return y in [0, pi^2] at which h(y) = ``target`` (0 to 1).

    h falls and is convex there, so Newton's steps from the left rise to the root without overshoot;
    the first of them, from y = 0, is 6 (1 - target).
    """
    y = as_values(6.0 * (1.0 - target))
    for _ in range(8):
        s = np.sqrt(np.maximum(y, 1e-12))
        value = _sinc(s)
        slope = np.where(y > 1e-6, (np.cos(s) - value) / (2 * s * s), -1.0 / 6.0)
        y = np.maximum(y - (_sinc(np.sqrt(y)) - target) / slope, 0.0)
    return y


def diffraction_efficiency(detuning: ArrayLike, drive_ratio: ArrayLike) -> Values:
    """Return the efficiency (0 to 1) at ``detuning`` (rad) and ``drive_ratio`` = P / P_sat; they broadcast.

    Raises ``AotfLabError`` for a negative drive ratio. Source: see the module.

    >>> [round(float(e), 4) for e in diffraction_efficiency([0.0, 1.2546], 1.0)]
    [1.0, 0.5]
    """
    q = _drive_parameter(drive_ratio)
    return q**2 * _sinc(np.hypot(q, as_values(detuning))) ** 2


def peak_efficiency(drive_ratio: ArrayLike) -> Values:
    """Return sin^2((pi/2) sqrt(drive_ratio)), the efficiency in tune.

    Raises ``AotfLabError`` for a negative drive ratio. Source: see the module.

    >>> float(peak_efficiency(0.25).round(3))
    0.5
    """
    amplitude: Values = np.sin(_drive_parameter(drive_ratio))
    return amplitude**2


def passband_fwhm(drive_ratio: ArrayLike) -> Values:
    """Return the passband's full width at half of its value in tune, over the weak-drive distance from peak to null.

    0.88589 in weak drive, 0.79869 at full drive (``drive_ratio`` = 1), where half is s = sqrt(q^2 + D^2) with
    sin(s)/s = sin(q)/(q sqrt 2). In detuning D the distance from peak to null is pi rad. Raises
    ``AotfLabError`` unless 0 <= drive_ratio < 4 (at 4 nothing is diffracted in tune). Source: see the module.

    >>> [round(float(w), 5) for w in passband_fwhm([0.0, 1.0])]
    [0.88589, 0.79869]
    """
    q = _drive_parameter(drive_ratio, upper=4.0)
    square = _square_where_sinc_is(_sinc(q) / np.sqrt(2.0))
    half_width: Values = np.sqrt(square - q**2) / np.pi
    return 2.0 * half_width


_WEAK_DRIVE_FWHM = float(passband_fwhm(0.0))


def sidelobe_level_db(drive_ratio: ArrayLike) -> Values:
    """Return the first sidelobe's height relative to the value in tune, in dB (-13.26 weak, -9.34 at full drive).

    All sidelobes lie on q^2 (sin s / s)^2, whose first maximum beyond s = pi does not depend on the drive.
    Raises ``AotfLabError`` unless 0 <= drive_ratio < 4. Source: see the module.

    >>> [round(float(level), 2) for level in sidelobe_level_db([0.0, 1.0])]
    [-13.26, -9.34]
    """
    in_tune = np.abs(_sinc(_drive_parameter(drive_ratio, upper=4.0)))
    level: Values = 20.0 * np.log10(np.abs(np.sinc(_FIRST_SIDELOBE / np.pi)) / in_tune)
    return level


def detuning_for_light(fraction: ArrayLike) -> Values:
    """Return the offset, as a share of the FWHM, at which ``fraction`` (0 to 1) of the peak light is left.

    Weak drive. 1 % is lost at 0.062 of the FWHM, 5 % at 0.141, 10 % at 0.201, half at 0.5.
    Raises ``AotfLabError`` for a fraction outside 0 to 1. Source: see the module.

    >>> [round(float(x), 3) for x in detuning_for_light([0.99, 0.95, 0.9, 0.5])]
    [0.062, 0.141, 0.201, 0.5]
    """
    fractions = as_values(fraction)
    require(
        (fractions >= 0) & (fractions <= 1), fractions, "share of the peak light that cannot be left",
        allowed="0 to 1", cure="give the share that is left, 0.99 for 1 % lost",
    )  # fmt: skip
    detuning: Values = np.sqrt(_square_where_sinc_is(np.sqrt(fractions)))
    return detuning / np.pi / _WEAK_DRIVE_FWHM


def light_lost(offset_in_fwhm: ArrayLike) -> Values:
    """Return the share of the peak light (0 to 1) lost at an offset given as a share of the FWHM.

    Weak drive, main lobe and sidelobes alike; either sign. Inverse of ``detuning_for_light`` within the main lobe.

    >>> [round(float(x), 3) for x in light_lost([0.0, 0.2, 0.5])]
    [0.0, 0.099, 0.5]
    """
    return 1.0 - _sinc(np.pi * _WEAK_DRIVE_FWHM * as_values(offset_in_fwhm)) ** 2
