"""Light scattered by sound that runs in every direction: what is phase-matched, and where it meets a screen.

All wave vectors are in units of 2 pi / wavelength. Light k_i meets sound of the drive's frequency in any direction m,
K = (f wavelength / v(m)) m, and leaves as k_d = k_i + K; it is phase-matched where k_d lies on an index surface: the
sphere n_o or the ellipsoid through n_o and n_e. The ends of all K form the slowness surface of each acoustic wave,
enlarged by f wavelength and carried to the tip of k_i; where it cuts an index surface there are closed curves, the
loops. K is small against k_i, so the index surface is nearly a plane across the light there, and a loop is nearly a
plane section of the slowness surface: through its middle where the polarisation stays, and beside it, by the
difference of the indices, where it changes. The slowness surface is alike on both sides: k_i - K gives the same loops.

Outside, the part of k_d along the exit face is conserved, and the screen stands across the undiffracted light.

Not modelled: how strong the light is along a loop (photoelastic constants, how much sound runs where, interaction
length), optical activity (``rotatory``; it moves n by up to 2e-4 within some degrees of the axis), piezoelectric
stiffening, and that scattered light leaves the crystal at several depths.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from aotf_lab.physics.domain import Values, as_values, require
from aotf_lab.physics.elastic import ElasticConstants
from aotf_lab.physics.indices import extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import Polarisation
from aotf_lab.physics.slowness import ALONG_001, ALONG_1M10, ALONG_110, acoustic_velocities

__all__ = ["Scattering"]


@dataclass(frozen=True)
class Scattering:
    """Light, sound, crystal, exit face and screen.

    ``incidence_deg`` is the light's angle inside from [001] towards [110]; ``exit_tilt_deg`` that of the exit face's
    normal from the light inside, in the same sense; ``incident`` the light's polarisation. On the screen x counts
    from the undiffracted spot towards [110], y along [-110].

    Raises ``AotfLabError`` for a frequency or distance that is not above zero, or where the undiffracted light
    cannot leave the crystal; ``MaterialError`` outside the published indices.
    """

    constants: ElasticConstants
    frequency_mhz: float
    wavelength_nm: float
    incidence_deg: float
    distance_mm: float
    incident: Polarisation = "ordinary"
    exit_tilt_deg: float = 0.0
    material: str = "TeO2"

    def __post_init__(self) -> None:
        for name, value in (("frequency (MHz)", self.frequency_mhz), ("distance to the screen (mm)", self.distance_mm)):
            require(value > 0, value, f"{name} of no loop", allowed="above zero", cure="check the value and its unit")
        sine = np.linalg.norm(self._along_face(self.light))
        require(
            sine < 1, self.exit_tilt_deg, "tilt of the exit face (deg) at which no light leaves the crystal",
            allowed="less than the angle of total reflection, about 26 deg",
            cure="give the face's normal from the light",
        )  # fmt: skip

    @cached_property
    def indices(self) -> tuple[float, float]:
        """n_o and the principal n_e."""
        return (
            float(ordinary_index(self.wavelength_nm, self.material)),
            float(extraordinary_index(self.wavelength_nm, self.material)),
        )

    @cached_property
    def light(self) -> Values:
        """The incident wave vector (3,)."""
        turn = np.radians(self.incidence_deg)
        way = np.sin(turn) * ALONG_110 + np.cos(turn) * ALONG_001
        return as_values(way / (1.0 + self.off_surface(way, self.incident)))

    @cached_property
    def _normal(self) -> Values:
        turn = np.radians(self.incidence_deg + self.exit_tilt_deg)
        return as_values(np.sin(turn) * ALONG_110 + np.cos(turn) * ALONG_001)

    @cached_property
    def _screen(self) -> tuple[Values, Values, Values]:
        """The undiffracted light's direction outside, and the screen's x and y."""
        ahead, y = self._outside(self.light), -ALONG_1M10
        return ahead, np.cross(y, ahead), y

    @property
    def sound_times_velocity(self) -> float:
        """f wavelength in m/s: an acoustic wave vector is this over the velocity."""
        return self.frequency_mhz * self.wavelength_nm * 1e-3

    def off_surface(self, wave_vectors: Values, polarisation: str) -> Values:
        """Return by which share wave vectors (..., 3) stand out of the index surface of ``polarisation``."""
        n_o, n_e = self.indices
        if polarisation == "ordinary":
            return as_values(np.linalg.norm(wave_vectors, axis=-1) / n_o - 1.0)
        scaled = wave_vectors / np.array([n_e, n_e, n_o])
        return as_values(np.linalg.norm(scaled, axis=-1) - 1.0)

    def scattered(self, directions: Values, velocity_m_s: Values) -> Values:
        """Return k_i + K (..., 3) for sound along ``directions`` (..., 3) at ``velocity_m_s`` (...)."""
        return as_values(self.light + (self.sound_times_velocity / velocity_m_s)[..., None] * directions)

    def _along_face(self, wave_vectors: Values) -> Values:
        return as_values(wave_vectors - (wave_vectors @ self._normal)[..., None] * self._normal)

    def _outside(self, wave_vectors: Values) -> Values:
        along = self._along_face(wave_vectors)
        square = 1.0 - np.sum(along**2, axis=-1)
        return as_values(along + np.sqrt(np.where(square > 0, square, np.nan))[..., None] * self._normal)

    def on_screen(self, wave_vectors: Values) -> tuple[Values, Values]:
        """Return x and y (mm) on the screen of wave vectors (..., 3) inside; NaN where totally reflected."""
        ahead, x, y = self._screen
        way = self._outside(wave_vectors)
        scale = self.distance_mm / (way @ ahead)
        return as_values(scale * (way @ x)), as_values(scale * (way @ y))

    def from_screen(self, x_mm: Values, y_mm: Values, polarisation: str) -> Values:
        """Return the wave vectors (..., 3) inside, of that polarisation, whose light meets the screen at (x, y)."""
        ahead, x, y = self._screen
        way = self.distance_mm * ahead + as_values(x_mm)[..., None] * x + as_values(y_mm)[..., None] * y
        along = self._along_face(way / np.linalg.norm(way, axis=-1, keepdims=True))
        n_o, n_e = self.indices
        scale = np.full(3, n_o) if polarisation == "ordinary" else np.array([n_e, n_e, n_o])
        # |(along + z normal) / scale| = 1, its greater root in z
        a, b = np.sum((self._normal / scale) ** 2), (along / scale**2) @ self._normal
        c = np.sum((along / scale) ** 2, axis=-1) - 1.0
        return as_values(along + ((np.sqrt(b**2 - a * c) - b) / a)[..., None] * self._normal)

    def sound_seen(self, x_mm: Values, y_mm: Values, polarisation: str) -> tuple[Values, Values]:
        """Return the direction (..., 3) of the sound that sends light to (x, y), and its velocity (m/s) if it does."""
        sound = self.from_screen(x_mm, y_mm, polarisation) - self.light
        length = np.linalg.norm(sound, axis=-1)
        return as_values(sound / length[..., None]), as_values(self.sound_times_velocity / length)

    def off_loop(self, x_mm: Values, y_mm: Values, mode: int, polarisation: str) -> Values:
        """Return by which share the velocity of ``mode`` (0 slowest to 2) exceeds the one that (x, y) asks for.

        Zero on the loop; outside of it positive, by about the share that the distance is too large.
        """
        way, asked_m_s = self.sound_seen(x_mm, y_mm, polarisation)
        return as_values(acoustic_velocities(way, self.constants)[..., mode] / asked_m_s - 1.0)
