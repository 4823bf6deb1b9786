"""Acoustic plane waves in any direction: velocity, polarisation, slowness and the way that the energy goes.

From the Christoffel equation of ``elastic``. The three waves of a direction are ordered by velocity: "slow shear",
"fast shear", "longitudinal"; off the crystal's axes none is pure. The energy runs along the normal to the slowness
surface: for G u = v^2 u with unit u, group velocity_n = (u . dG/dm_n u) / (2 v), whose part along m is v itself
(G is quadratic in m). In paratellurite the energy of the slow shear wave runs (v001/v110)^2 = 11.6 times as steeply
from [110] as the wave vector: tan(energy) = (v001/v110)^2 tan(wave), 45.5 deg at 5 deg.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.errors import AotfLabError, Said
from aotf_lab.physics.domain import Values, as_values
from aotf_lab.physics.elastic import ElasticConstants, elastic_constants

__all__ = [
    "ALONG_001", "ALONG_1M10", "ALONG_110", "MODES", "AcousticWaves", "acoustic_velocities", "acoustic_waves",
    "cut_plane_directions", "energy_angle_deg", "plane_directions",
]  # fmt: skip

MODES = ("slow shear", "fast shear", "longitudinal")
"""The waves of a direction, by velocity."""

ALONG_110 = np.array([1.0, 1.0, 0.0]) / np.sqrt(2.0)
ALONG_1M10 = np.array([1.0, -1.0, 0.0]) / np.sqrt(2.0)
ALONG_001 = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class AcousticWaves:
    """The three waves of each direction, slowest first.

    ``directions`` (..., 3) are unit vectors of the wave normal, ``velocity_m_s`` (..., 3) phase velocities; with the
    wave first and the component last, ``polarisation`` (..., 3, 3) are unit displacements (sign free) and
    ``group_m_s`` (..., 3, 3) velocities of the energy. Where two velocities are equal (shear along [001]) any two
    displacements in their plane are waves, and the group velocity of each is not defined: one choice is given.
    """

    directions: Values
    velocity_m_s: Values
    polarisation: Values
    group_m_s: Values

    @property
    def slowness_s_km(self) -> Values:
        """Slowness vectors (..., 3, 3) in s/km: direction / velocity, the wave first and the component last."""
        return as_values(1e3 * self.directions[..., None, :] / self.velocity_m_s[..., None])

    @property
    def walk_off_deg(self) -> Values:
        """Angle (..., 3) between wave normal and energy."""
        cosine = self.velocity_m_s / np.linalg.norm(self.group_m_s, axis=-1)
        return as_values(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))))


def _unit(directions: ArrayLike) -> Values:
    vectors = as_values(directions)
    if vectors.shape[-1:] != (3,):
        raise AotfLabError(
            "direction that is no vector", found=Said(f"shape {vectors.shape}"),
            allowed="(..., 3): along [100], [010], [001]", cure="give three components on the last axis",
        )  # fmt: skip
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    if not np.all((length > 0) & np.isfinite(length)):
        bad = vectors.reshape(-1, 3)[~((length > 0) & np.isfinite(length)).ravel()][0]
        raise AotfLabError(
            "direction without length", found=Said(str(bad.tolist())), allowed="a finite vector that is not zero",
            cure="give the components along [100], [010] and [001]",
        )  # fmt: skip
    return as_values(vectors / length)


def acoustic_velocities(directions: ArrayLike, constants: ElasticConstants | None = None) -> Values:
    """Return the phase velocities (..., 3) in m/s, slowest first, of the directions (..., 3); length does not matter.

    ``constants`` default to ``elastic_constants()``. Raises ``AotfLabError`` for what is no direction.

    >>> [round(float(v)) for v in acoustic_velocities([1, 1, 0])]
    [617, 2104, 4464]
    """
    crystal = constants or elastic_constants()
    return as_values(np.sqrt(np.linalg.eigvalsh(crystal.christoffel(_unit(directions)))))


def acoustic_waves(directions: ArrayLike, constants: ElasticConstants | None = None) -> AcousticWaves:
    """Return the three acoustic waves of each direction (..., 3), with displacements and group velocities.

    Errors as for ``acoustic_velocities``.

    >>> [round(float(d)) for d in acoustic_waves([1, 1, 0.1]).walk_off_deg]
    [35, 8, 2]
    """
    crystal, unit = constants or elastic_constants(), _unit(directions)
    squares, columns = np.linalg.eigh(crystal.christoffel(unit))
    velocity, shape = np.sqrt(squares), np.swapaxes(columns, -1, -2)
    by_direction = np.einsum("...mi,...ijn,...mj->...mn", shape, crystal.christoffel_gradient(unit), shape)
    return AcousticWaves(unit, velocity, shape, by_direction / (2.0 * velocity[..., None]))


def plane_directions(angle_deg: ArrayLike, first: ArrayLike, second: ArrayLike) -> Values:
    """Return unit vectors (..., 3) at ``angle_deg`` from ``first`` towards ``second``: a slowness curve in any plane.

    ``second`` is first made normal to ``first``. Raises ``AotfLabError`` when the two do not span a plane.

    >>> plane_directions(90.0, [1, 1, 0], [1, 1, 1]).round(3).tolist()
    [0.0, 0.0, 1.0]
    """
    one, other = _unit(first), _unit(second)
    across = _unit(other - (other @ one) * one if abs(other @ one) < 1 - 1e-12 else np.zeros(3))
    angle = np.radians(as_values(angle_deg))[..., None]
    return as_values(np.cos(angle) * one + np.sin(angle) * across)


def cut_plane_directions(angle_deg: ArrayLike) -> Values:
    """Return unit vectors (..., 3) in the plane of the cut, at ``angle_deg`` from [110] towards [001]."""
    return plane_directions(angle_deg, ALONG_110, ALONG_001)


def energy_angle_deg(acoustic_angle_deg: ArrayLike, constants: ElasticConstants | None = None) -> Values:
    """Return the angle (deg from [110] towards [001]) of the slow shear wave's energy, in the plane of the cut.

    >>> round(float(energy_angle_deg(5.0)), 1)
    45.5
    """
    group = acoustic_waves(cut_plane_directions(acoustic_angle_deg), constants).group_m_s[..., 0, :]
    return as_values(np.degrees(np.arctan2(group @ ALONG_001, group @ ALONG_110)))
