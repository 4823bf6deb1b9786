"""The isotropic Bragg cell: a plain modulator, whose light keeps its polarisation and whose sound is not tuned.

In vacuum outside, and with the refractive index n inside, light of the vacuum wavelength meets sound of velocity v
and frequency f at the Bragg angle, sin(theta) = wavelength f / (2 n v), and leaves at twice that from the straight
beam. Held at that angle, another frequency is out of tune by D = (pi wavelength L / (2 n v^2)) f (f - f0) rad, since
the Bragg angle moves by wavelength (f - f0) / (2 n v) and the sound's wave vector 2 pi f / v is as long as it is: half
the mismatch over the length L. Half of the light is left at D = 1.3916, which gives the bandwidth
1.772 n v^2 / (wavelength L f0) in weak drive; Gordon, Proc. IEEE 54, 1391 (1966), has 1.8 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.coupled_waves import passband_fwhm
from aotf_lab.physics.domain import Values, as_values, require
from aotf_lab.physics.edges import HALF_DEPTH_PER_TRANSIT, RISE_PER_DEVIATION

__all__ = [
    "BRAGG_REGIME_Q",
    "Q_TIMES_BANDWIDTH",
    "acoustic_bandwidth_mhz",
    "bragg_angle_deg",
    "bragg_detuning",
    "klein_cook",
    "modulation_frequency_mhz",
    "rise_time_us",
    "saturation_power_w",
    "separation_deg",
]

BRAGG_REGIME_Q = 10.0
"""Klein-Cook parameter above which one order takes the light (common practice: 7 to 10; below 1 many orders do)."""

HALF_DETUNING = 0.5 * np.pi * float(passband_fwhm(0.0))
"""Detuning (rad) at half of the light, in weak drive: 1.3916."""

Q_TIMES_BANDWIDTH = 8.0 * HALF_DETUNING
"""Klein-Cook parameter times bandwidth over carrier frequency, 11.13: from the two formulas."""


def bragg_angle_deg(
    wavelength_nm: ArrayLike, frequency_mhz: ArrayLike, velocity_m_s: ArrayLike, refractive_index: ArrayLike = 1.0
) -> Values:
    """Return the Bragg angle (deg) of a vacuum wavelength (nm): outside the cell, or inside with its index.

    Raises ``AotfLabError`` where the sound is too short for the light: no angle fulfils the condition.

    >>> round(float(2 * bragg_angle_deg(514.5, 100.0, 4200.0)), 3)
    0.702
    """
    sine = 1e-3 * as_values(wavelength_nm) * as_values(frequency_mhz)
    sine = sine / (2.0 * as_values(refractive_index) * as_values(velocity_m_s))
    require(
        (sine > 0) & (sine <= 1), sine, "sine of the Bragg angle", allowed="above 0, 1 at the most",
        cure="give the wavelength in nm, the frequency in MHz and the velocity in m/s",
    )  # fmt: skip
    return as_values(np.degrees(np.arcsin(sine)))


def separation_deg(wavelength_nm: ArrayLike, frequency_mhz: ArrayLike, velocity_m_s: ArrayLike) -> Values:
    """Return the angle (deg) between diffracted and straight light outside the cell: twice the Bragg angle.

    >>> round(float(separation_deg(514.5, 100.0, 4200.0)), 3)
    0.702
    """
    return as_values(2.0 * bragg_angle_deg(wavelength_nm, frequency_mhz, velocity_m_s))


def bragg_detuning(
    frequency_mhz: ArrayLike,
    carrier_mhz: ArrayLike,
    wavelength_nm: ArrayLike,
    velocity_m_s: ArrayLike,
    length_mm: ArrayLike,
    refractive_index: ArrayLike,
) -> Values:
    """Return the detuning D (rad), as ``coupled_waves`` takes it, at ``frequency_mhz`` where the cell stands at the
    Bragg angle of ``carrier_mhz``; ``length_mm`` is the length of the sound field along the light.

    Source: see the module.
    """
    f = as_values(frequency_mhz)
    scale = np.pi * as_values(wavelength_nm) * as_values(length_mm) / (2.0 * as_values(refractive_index))
    return as_values(scale / as_values(velocity_m_s) ** 2 * f * (f - as_values(carrier_mhz)))


def acoustic_bandwidth_mhz(
    carrier_mhz: ArrayLike,
    wavelength_nm: ArrayLike,
    velocity_m_s: ArrayLike,
    length_mm: ArrayLike,
    refractive_index: ArrayLike,
) -> Values:
    """Return the full width (MHz) at half of the light that the sound's divergence leaves, in weak drive.

    1.772 n v^2 / (wavelength L f0); a transducer of limited bandwidth leaves less. Source: see the module.

    >>> round(float(acoustic_bandwidth_mhz(80.0, 632.8, 4200.0, 10.0, 2.26)), 1)
    139.5
    """
    width = 4.0 * HALF_DETUNING / np.pi * as_values(refractive_index) * as_values(velocity_m_s) ** 2
    return as_values(width / (as_values(wavelength_nm) * as_values(length_mm) * as_values(carrier_mhz)))


def klein_cook(
    frequency_mhz: ArrayLike,
    wavelength_nm: ArrayLike,
    velocity_m_s: ArrayLike,
    length_mm: ArrayLike,
    refractive_index: ArrayLike,
) -> Values:
    """Return Q = 2 pi wavelength L f^2 / (n v^2): below 1 many orders share the light, above 7 to 10 one takes it.

    Source: Klein & Cook, IEEE Trans. Sonics Ultrason. 14, 123 (1967), from memory.

    >>> round(float(klein_cook(80.0, 632.8, 4200.0, 10.0, 2.26)), 2)
    6.38
    """
    top = 2.0 * np.pi * 1e-9 * as_values(wavelength_nm) * 1e-3 * as_values(length_mm)
    top = top * (1e6 * as_values(frequency_mhz)) ** 2
    return as_values(top / (as_values(refractive_index) * as_values(velocity_m_s) ** 2))


def saturation_power_w(
    wavelength_nm: ArrayLike, figure_of_merit_s3_kg: ArrayLike, length_mm: ArrayLike, height_mm: ArrayLike
) -> Values:
    """Return the acoustic power (W) of full diffraction: wavelength^2 H / (2 M2 L), H the height of the sound field.

    Source: A. Yariv, IEEE J. Quantum Electron. 9, 919 (1973), eq. 94. The electrical power is larger by what match
    and transducer lose.

    >>> round(float(saturation_power_w(1000.0, 1e-13, 5.0, 5.0)), 3)  # 20 W/cm^2 on 25 mm^2
    5.0
    """
    light = (1e-9 * as_values(wavelength_nm)) ** 2
    return as_values(light * as_values(height_mm) / (2.0 * as_values(figure_of_merit_s3_kg) * as_values(length_mm)))


def rise_time_us(diameter_mm: ArrayLike, velocity_m_s: ArrayLike) -> Values:
    """Return the time (us) from 10 to 90 % of the light as an edge of sound crosses a Gaussian beam: 0.6408 D/v.

    D is the 1/e^2 diameter in the cell. Source: Young & Yao, Proc. IEEE 69, 54 (1981), from memory; derived from the
    error function.

    >>> round(float(rise_time_us(1.0, 4200.0)), 4)
    0.1526
    """
    return as_values(RISE_PER_DEVIATION / 4.0 * 1e3 * as_values(diameter_mm) / as_values(velocity_m_s))


def modulation_frequency_mhz(diameter_mm: ArrayLike, velocity_m_s: ArrayLike) -> Values:
    """Return the frequency (MHz) at which the light's modulation has fallen to a half: 0.7496 v/D.

    D is the 1/e^2 diameter in the cell. Source as for ``rise_time_us``: sqrt(8 ln 2) / pi.

    >>> round(float(modulation_frequency_mhz(1.0, 4200.0)), 3)
    3.148
    """
    return as_values(HALF_DEPTH_PER_TRANSIT * 1e-3 * as_values(velocity_m_s) / as_values(diameter_mm))
