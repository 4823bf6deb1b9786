"""By which angle the two orders leave the crystal.

At the exit face the component of the wave vector along the face is conserved. Inside, the diffracted wave differs from
the undiffracted one by the sound's wave vector K, of size wavelength f / v in units of 2 pi / wavelength. So outside

    sin(diffracted) - sin(undiffracted) = (wavelength f / v) cos(angle of K to the exit face)

whatever the indices and whatever the crystal's symmetry. With a face square to the light inside, the undiffracted
order leaves along the normal, and the separation goes as wavelength f / v: in a birefringent filter that is the
effective birefringence, which changes by a tenth over the visible, so the colours fall side by side.

A face that leans by w from there sends the undiffracted order to sin = -n_i sin w, a prism whose dispersion can be made
to cancel that of K: the diffracted orders of all colours then leave in one direction, and their place on a screen, seen
from ONE mark, says nothing of v. From the undiffracted spot of the same colour it still does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values, require
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import Polarisation, interaction_birefringence

__all__ = ["exit_angles", "separation"]


def separation(
    wavelength_nm: ArrayLike, frequency_mhz: ArrayLike, velocity_m_s: ArrayLike, sound_to_face_deg: ArrayLike = 0.0,
    incidence_deg: ArrayLike = 0.0,
) -> Values:  # fmt: skip
    """Return the angle (rad) between the orders behind a plane-parallel crystal; arguments broadcast.

    ``sound_to_face_deg`` is the angle of the sound's wave vector to the faces, ``incidence_deg`` that of the light in
    front of the crystal, from the normal, positive towards the side to which the light is sent. Wavelength in vacuum.
    Raises ``AotfLabError`` where no diffracted wave leaves the crystal.

    >>> round(float(np.degrees(separation(514.5, 100.0, 4200.0))), 3)
    0.702
    """
    grating = interaction_birefringence(wavelength_nm, frequency_mhz, velocity_m_s)
    along = grating * np.cos(np.radians(as_values(sound_to_face_deg)))
    incidence = np.radians(as_values(incidence_deg))
    return as_values(_leaving(np.sin(incidence) + along) - incidence)


def exit_angles(
    wavelength_nm: ArrayLike,
    frequency_mhz: ArrayLike,
    incidence_deg: float,
    acoustic_angle_deg: float,
    velocity_m_s: ArrayLike,
    wedge_deg: float = 0.0,
    material: str = "TeO2",
    *,
    incident: Polarisation = "ordinary",
) -> tuple[Values, Values]:
    """Return the angles (rad) outside of the undiffracted and the diffracted order, from the exit face's normal.

    Geometry as in ``phase_matching``: light at ``incidence_deg`` from the optic axis, sound ``acoustic_angle_deg`` from
    [110], both inside. The exit face is square to the light but for ``wedge_deg``, positive where its normal leans
    further from the axis. Angles count positive away from the optic axis. Raises as ``separation`` and
    ``ordinary_index`` do.

    >>> [round(1e3 * float(a), 2) for a in exit_angles(589.12, 64.23, 10.6, 5.3, 643.4, 3.87)]
    [-154.11, -95.59]
    """
    ordinary, principal = ordinary_index(wavelength_nm, material), extraordinary_index(wavelength_nm, material)
    light, normal = np.radians(incidence_deg), np.radians(incidence_deg + wedge_deg)
    index = ordinary
    if incident == "extraordinary":
        index = as_values(1.0 / np.hypot(np.cos(light) / ordinary, np.sin(light) / principal))
    # A wave goes outwards, away from the axis, when it turns from the smaller index to the larger.
    outwards = np.where((principal > ordinary) == (incident == "ordinary"), 1.0, -1.0)
    grating = interaction_birefringence(wavelength_nm, frequency_mhz, velocity_m_s)
    before = -index * np.sin(np.radians(wedge_deg))
    after = before + outwards * grating * np.cos(normal - np.radians(acoustic_angle_deg))
    return _leaving(before), _leaving(after)


def _leaving(sine: Values) -> Values:
    require(
        np.abs(sine) < 1.0, sine, "sine of the angle at which an order would leave the crystal", allowed="-1 to 1",
        cure="check wavelength, frequency, velocity and the wedge of the exit face",
    )  # fmt: skip
    return as_values(np.arcsin(sine))
