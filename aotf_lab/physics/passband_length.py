"""How long a column of sound makes a passband of a given width, by the exact index surfaces.

Light at a fixed incidence and sound of a fixed direction: k_i + K ends on the surface of the diffracted wave when the
frequency is in tune. Detuned, K is longer or shorter along its own direction, and the end misses the surface. Along
the column's sides the waves match all the same, since the column is long that way; what is missed is missed along the
normal of its sides, by Delta (rad/m). Over a width W of the column the weak efficiency is sinc^2(Delta W / 2) (Yariv &
Yeh, Optical Waves in Crystals (1984), coupled waves), half at Delta W / 2 = 1.39156. So the width between the two
frequencies of half the light is W = 4 x 1.39156 / (Delta above - Delta below).

The sides run where the sound's energy goes. Without walk-off that is along K, and W is the length of the transducer;
with a walk-off psi the sides lean by it, and the transducer's length is W / cos psi. In paratellurite near [110] psi
is 40 degrees and more, and the transducer comes out shorter or longer by some 10 % than a straight column would say.

Geometry and surfaces: ``phase_matching``. Everything broadcasts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.domain import Values, as_values, require
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import Polarisation, phase_matched_frequency

__all__ = ["HALF_DETUNING", "interaction_length", "phase_mismatch", "slow_shear_walkoff"]

HALF_DETUNING = 1.3915573782515102
"""Half of the phase (rad) at which sin^2 x / x^2 is one half."""


def slow_shear_walkoff(angle_deg: ArrayLike) -> Values:
    """Return by how much (deg) the energy of the slow shear wave leans from its wave vector, towards [001].

    tan psi = (dv/da) / v, for the law of ``slow_shear_velocity`` (any text on waves in crystals, e.g. Auld, Acoustic
    Fields and Waves in Solids (1973); from memory). Errors as there.

    >>> [round(float(psi), 1) for psi in slow_shear_walkoff([0.0, 5.3, 10.0])]
    [0.0, 41.9, 54.0]
    """
    angle, step = as_values(angle_deg), 1e-3
    high, low = np.minimum(angle + step, 90.0), np.maximum(angle - step, -90.0)
    slope = (slow_shear_velocity(high) - slow_shear_velocity(low)) / np.radians(high - low)
    return as_values(np.degrees(np.arctan(slope / slow_shear_velocity(angle))))


def phase_mismatch(
    frequency_mhz: ArrayLike,
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    acoustic_angle_deg: ArrayLike,
    velocity_m_s: ArrayLike,
    material: str = "TeO2",
    *,
    walkoff_deg: ArrayLike = 0.0,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return Delta (rad/mm): by what k_i + K misses the diffracted surface, along the normal of the column's sides.

    The nearer crossing counts; the sign is that along the normal turned from K towards the light. Raises
    ``MaterialError`` outside the published indices and ``AotfLabError`` where the normal meets no surface.

    >>> f = float(phase_matched_frequency(589.12, 10.6, 5.3, 643.4))
    >>> abs(float(phase_mismatch(f, 589.12, 10.6, 5.3, 643.4))) < 1e-9
    True
    """
    ordinary, principal = ordinary_index(wavelength_nm, material), extraordinary_index(wavelength_nm, material)
    light, sound = np.radians(as_values(incidence_deg)), np.radians(as_values(acoustic_angle_deg))
    if incident == "ordinary":
        index, sign, over_110, over_001 = ordinary, 1.0, principal, ordinary
    elif incident == "extraordinary":
        index = 1.0 / np.hypot(np.cos(light) / ordinary, np.sin(light) / principal)
        sign, over_110, over_001 = -1.0, ordinary, ordinary
    else:
        raise AotfLabError(
            "no such polarisation of the incident light", found=incident, allowed="ordinary, extraordinary",
            cure="name the ray that enters the crystal",
        )  # fmt: skip
    grating = as_values(frequency_mhz) * as_values(wavelength_nm) * 1e-3 / as_values(velocity_m_s)
    x = (index * np.sin(light) + sign * grating * np.cos(sound)) / over_110
    z = (index * np.cos(light) - sign * grating * np.sin(sound)) / over_001
    lean = sound + np.radians(as_values(walkoff_deg))
    n_x, n_z = np.sin(lean) / over_110, np.cos(lean) / over_001
    a, b, c = n_x**2 + n_z**2, x * n_x + z * n_z, x**2 + z**2 - 1.0
    under_root = b**2 - a * c
    require(
        (under_root >= 0) & (b > 0), np.degrees(lean), "the normal of the sound column (deg from [001]) meets no light",
        allowed="a column whose sides the light crosses", cure="give a smaller walk-off",
    )  # fmt: skip
    missed = -c / (b + np.sqrt(np.maximum(under_root, 0.0)))
    return as_values(2e6 * np.pi / as_values(wavelength_nm) * missed)


def interaction_length(
    fwhm_mhz: ArrayLike,
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    acoustic_angle_deg: ArrayLike,
    velocity_m_s: ArrayLike,
    material: str = "TeO2",
    *,
    walkoff_deg: ArrayLike = 0.0,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return the length (mm) of the transducer whose sound gives the weak-drive width ``fwhm_mhz`` at half the light.

    That is the column's extent across the wave vector; along the normal of sides that lean by ``walkoff_deg`` it is
    less by cos(walk-off). Errors as for ``phase_mismatch``, and ``AotfLabError`` for a width that is not positive.

    >>> round(float(interaction_length(0.3, 589.12, 10.6, 5.3, 643.4)), 1)
    20.4
    """
    width = as_values(fwhm_mhz)
    require(width > 0, width, "width of a passband (MHz)", allowed="above 0", cure="give the FWHM in weak drive")
    cut = (wavelength_nm, incidence_deg, acoustic_angle_deg, velocity_m_s, material)
    tuned = phase_matched_frequency(*cut, incident=incident)
    above, below = (
        phase_mismatch(tuned + side * width / 2, *cut, walkoff_deg=walkoff_deg, incident=incident)
        for side in (1.0, -1.0)
    )
    across = 4.0 * HALF_DETUNING / np.abs(above - below)
    return as_values(across / np.cos(np.radians(as_values(walkoff_deg))))
