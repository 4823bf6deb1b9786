"""What a width means: in wavelength, by the tuning curve, and as a length of the sound column, by the cut."""

from __future__ import annotations

from typing import Any

import numpy as np
import uncertainties
from uncertainties import UFloat

from aotf_lab.crystal.cut import Cut
from aotf_lab.crystal.scan.model import detuning_of
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.physics.passband_length import HALF_DETUNING, interaction_length, slow_shear_walkoff

__all__ = ["length_mm", "weak_fwhm_mhz", "width_nm"]


def width_nm(centre_mhz: UFloat, fwhm_mhz: UFloat, tuning: Tuning) -> UFloat:
    """Return the width (nm) by the local slope of ``tuning``, its covariance with the centre kept."""
    half = 0.5 * float(fwhm_mhz.n)
    short, long = tuning.wavelength(centre_mhz + half), tuning.wavelength(centre_mhz - half)
    return (long - short) / (2.0 * half) * fwhm_mhz


def weak_fwhm_mhz(fwhm_mhz: UFloat, skew: UFloat, drive_ratio: UFloat) -> UFloat:
    """Return the width (MHz) that the same crystal would have upright and in weak drive."""
    step = 1e-6

    def weak(fwhm: float, lean: float, drive: float) -> float:
        detuning = detuning_of(np.array([-step * fwhm, step * fwhm]), 0.0, fwhm, lean, drive)
        return float(2.0 * HALF_DETUNING * 2.0 * step * fwhm / (detuning[1] - detuning[0]))

    wrapped: Any = uncertainties.wrap(weak)
    result: UFloat = wrapped(fwhm_mhz, skew, drive_ratio)
    return result


def length_mm(weak_mhz: UFloat, cut: Cut, wavelength_nm: UFloat | float, walkoff_deg: UFloat | float | None) -> UFloat:
    """Return the transducer's length (mm) by the exact surfaces of ``cut``; see ``Scan.interaction_length_mm``."""
    material = cut.law.material

    def length(width: float, nm: float, incidence: float, sound: float, velocity: float, lean: float) -> float:
        return float(interaction_length(width, nm, incidence, sound, velocity, material, walkoff_deg=lean))

    lean: Any = walkoff_deg
    if lean is None:
        lean = uncertainties.wrap(lambda angle: float(slow_shear_walkoff(angle)))(cut.acoustic_angle_deg)
    wrapped: Any = uncertainties.wrap(length)
    result: UFloat = wrapped(weak_mhz, wavelength_nm, cut.incidence_deg, cut.acoustic_angle_deg, cut.velocity_m_s, lean)
    return result
