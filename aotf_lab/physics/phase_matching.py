"""Which radio frequency diffracts which wavelength, for a given cut of the crystal.

Geometry, inside the crystal and in the plane of the optic axis [001] and [110]: the light's wave vector lies at
``incidence_deg`` from [001] towards [110]. The sound's lies at ``acoustic_angle_deg`` from [110], tilted away from the
light, so that light and sound are 90 deg - incidence + acoustic angle apart. Sound that runs the other way along
the same line diffracts into the other order at the same frequency; which way applies follows from the polarisation.

The ordinary ray sees a sphere of radius n_o, the extraordinary one the ellipsoid through n_o and n_e. Phase matching
k_i +- K = k_d is exact; optical activity, which parts the two surfaces on the axis, is left out (Chang, Appl. Phys.
Lett. 25, 370 (1974); Yano & Watanabe, Appl. Opt. 15, 2250 (1976) for the parallel tangents; both cited from memory).
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError, MaterialError
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.domain import Values, as_values, require
from aotf_lab.physics.indices import extraordinary_index, ordinary_index

__all__ = [
    "INCIDENCE_RANGE_DEG",
    "Polarisation",
    "incidence_for",
    "interaction_birefringence",
    "parallel_tangent_acoustic_angle",
    "parallel_tangent_frequency",
    "phase_matched_frequency",
]

Polarisation = Literal["ordinary", "extraordinary"]
"""Which ray the incident light is; the diffracted light is the other one."""

INCIDENCE_RANGE_DEG = (5.0, 35.0)
"""Incidences among which ``incidence_for`` looks."""


def _is_ordinary(incident: str) -> bool:
    if incident not in ("ordinary", "extraordinary"):
        raise AotfLabError(
            "no such polarisation of the incident light", found=incident, allowed="ordinary, extraordinary",
            cure="name the ray that enters the crystal",
        )  # fmt: skip
    return incident == "ordinary"


def _incidence_rad(incidence_deg: ArrayLike) -> Values:
    angles = as_values(incidence_deg)
    require(
        (angles > 0) & (angles <= 90), angles, "incidence (deg) at which nothing is phase-matched by these surfaces",
        allowed="above 0 to 90 deg from the optic axis", cure="give the angle inside the crystal, in degrees",
    )  # fmt: skip
    return np.asarray(np.radians(angles))


def _velocity(acoustic_angle_deg: ArrayLike, velocity_m_s: ArrayLike | None, material: str) -> Values:
    if velocity_m_s is not None:
        return as_values(velocity_m_s)
    if material != "TeO2":
        raise MaterialError(
            "no packaged acoustic velocity for this crystal", found=material, allowed="TeO2",
            cure="give velocity_m_s of the acoustic wave that the transducer makes",
        )  # fmt: skip
    return slow_shear_velocity(acoustic_angle_deg)


def phase_matched_frequency(
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    acoustic_angle_deg: ArrayLike,
    velocity_m_s: ArrayLike | None = None,
    material: str = "TeO2",
    pole_shift_nm: float = 0.0,
    *,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return the frequency (MHz) at which sound of this direction diffracts the vacuum wavelength(s) in nm.

    Geometry in the module's docstring; the first four arguments broadcast. ``velocity_m_s`` defaults to
    ``slow_shear_velocity(acoustic_angle_deg)`` (TeO2 only). With K in units of 2 pi / wavelength, the law of cosines
    gives a K^2 - 2 b K + c = 0: a = 1, b = n_i cos(light, sound), c = n_i^2 - n_o^2 onto the sphere; the same with
    components over n_e and n_o onto the ellipsoid. The root nearer to zero is the filter's: f = K v / wavelength.

    Raises ``MaterialError`` as ``ordinary_index`` does, ``AotfLabError`` where this sound reaches no diffracted wave.

    >>> [round(float(f), 2) for f in phase_matched_frequency([449.73, 589.12], 10.6, 5.3, 643.4)]
    [93.2, 64.23]
    """
    ordinary = ordinary_index(wavelength_nm, material)
    principal = extraordinary_index(wavelength_nm, material, pole_shift_nm=pole_shift_nm)
    light, sound = _incidence_rad(incidence_deg), np.radians(as_values(acoustic_angle_deg))
    if _is_ordinary(incident):
        a = (np.cos(sound) / principal) ** 2 + (np.sin(sound) / ordinary) ** 2
        b = ordinary * (np.sin(light) * np.cos(sound) / principal**2 - np.cos(light) * np.sin(sound) / ordinary**2)
        c = np.sin(light) ** 2 * (ordinary**2 / principal**2 - 1.0)
    else:
        index = 1.0 / np.hypot(np.cos(light) / ordinary, np.sin(light) / principal)
        a, b = np.ones_like(index), index * np.sin(light - sound)
        c = np.sin(light) ** 2 * index**2 * (1.0 - (ordinary / principal) ** 2)
    under_root = b**2 - a * c
    require(
        under_root >= 0, np.degrees(light), "no diffracted wave can be reached at this incidence (deg)",
        allowed="incidences at which the sound's direction meets the other index surface",
        cure="enlarge the incidence or lessen the acoustic angle",
    )  # fmt: skip
    grating = np.abs(c / (b + np.copysign(np.sqrt(under_root), b)))
    return grating * _velocity(acoustic_angle_deg, velocity_m_s, material) / as_values(wavelength_nm) * 1e3


def parallel_tangent_acoustic_angle(
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    material: str = "TeO2",
    pole_shift_nm: float = 0.0,
    *,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return the acoustic angle (deg from [110]) of non-critical phase matching at this wavelength and incidence.

    There the tangents to both index surfaces are parallel at the two ends of the acoustic wave vector, and the
    frequency hardly depends on the incidence: a wide angular aperture. The ends fulfil
    tan(extraordinary) = (n_e/n_o)^2 tan(ordinary), angles from the axis (Yano & Watanabe 1976, from memory).
    Raises ``MaterialError`` as ``ordinary_index`` does.

    >>> round(float(parallel_tangent_acoustic_angle(589.0, 10.6)), 2)
    5.25
    """
    ordinary = ordinary_index(wavelength_nm, material)
    principal = extraordinary_index(wavelength_nm, material, pole_shift_nm=pole_shift_nm)
    light = _incidence_rad(incidence_deg)
    ratio = (principal / ordinary) ** 2
    if _is_ordinary(incident):
        sphere, ellipsoid = light, np.arctan(ratio * np.tan(light))
    else:
        sphere, ellipsoid = np.arctan(np.tan(light) / ratio), light
    index = 1.0 / np.hypot(np.cos(ellipsoid) / ordinary, np.sin(ellipsoid) / principal)
    across = index * np.sin(ellipsoid) - ordinary * np.sin(sphere)
    along = index * np.cos(ellipsoid) - ordinary * np.cos(sphere)
    return np.degrees(np.arctan(-along / across))


def parallel_tangent_frequency(
    wavelength_nm: ArrayLike,
    incidence_deg: ArrayLike,
    design_wavelength_nm: ArrayLike | None = None,
    velocity_m_s: ArrayLike | None = None,
    material: str = "TeO2",
    pole_shift_nm: float = 0.0,
    *,
    incident: Polarisation = "ordinary",
) -> Values:
    """Return the frequency (MHz) against vacuum wavelength (nm) of a crystal cut for parallel tangents.

    The acoustic angle is the one that holds at ``design_wavelength_nm`` (default: at each wavelength itself) and stays;
    phase matching is exact at every wavelength. Errors as for ``phase_matched_frequency``.

    >>> [round(float(f), 1) for f in parallel_tangent_frequency([561.0, 450.0], 16.236, 561.0)]
    [106.0, 144.4]
    """
    design = wavelength_nm if design_wavelength_nm is None else design_wavelength_nm
    cut = parallel_tangent_acoustic_angle(design, incidence_deg, material, pole_shift_nm, incident=incident)
    return phase_matched_frequency(
        wavelength_nm, incidence_deg, cut, velocity_m_s, material, pole_shift_nm, incident=incident
    )


def incidence_for(
    wavelength_nm: float,
    frequency_mhz: float,
    velocity_m_s: float | None = None,
    material: str = "TeO2",
    pole_shift_nm: float = 0.0,
    *,
    incident: Polarisation = "ordinary",
) -> float:
    """Return the incidence (deg) of the parallel-tangent cut that takes ``frequency_mhz`` at ``wavelength_nm``.

    Raises ``AotfLabError`` when no incidence within ``INCIDENCE_RANGE_DEG`` does; else errors as for
    ``phase_matched_frequency``.

    >>> round(incidence_for(561.0, 106.0), 1)
    16.2
    """
    shared = (velocity_m_s, material, pole_shift_nm)

    def excess_mhz(incidence_deg: float) -> float:
        frequency = parallel_tangent_frequency(wavelength_nm, incidence_deg, None, *shared, incident=incident)
        return float(frequency) - frequency_mhz

    low, high = (excess_mhz(end) + frequency_mhz for end in INCIDENCE_RANGE_DEG)
    require(
        low <= frequency_mhz <= high,
        frequency_mhz,
        f"no parallel-tangent cut takes this frequency (MHz) at {wavelength_nm:g} nm",
        allowed=f"{low:.4g} to {high:.4g} MHz",
        cure="check the line's label, the frequency and the harmonic it belongs to",
    )
    return float(brentq(excess_mhz, *INCIDENCE_RANGE_DEG, xtol=1e-9))


def interaction_birefringence(wavelength_nm: ArrayLike, frequency_mhz: ArrayLike, velocity_m_s: ArrayLike) -> Values:
    """Return B = f wavelength / v, the acoustic wave vector in units of 2 pi / wavelength; arguments broadcast.

    >>> round(float(interaction_birefringence(589.0, 64.2, 643.4)), 5)
    0.05877
    """
    return as_values(frequency_mhz) * as_values(wavelength_nm) * 1e-3 / as_values(velocity_m_s)
