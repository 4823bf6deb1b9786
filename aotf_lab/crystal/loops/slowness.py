"""Slowness curves of the crystal in a plane, by default that of the cut, and where the energy of sound goes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.elastic import V001_M_S, V110_M_S, elastic_constants
from aotf_lab.physics.slowness import MODES, AcousticWaves, acoustic_waves, plane_directions

__all__ = ["SlownessCurves", "slowness_curves"]


@dataclass(frozen=True, eq=False)
class SlownessCurves:
    """Three curves in the plane of ``first`` and ``second``; made by ``slowness_curves`` only.

    ``angle_deg`` (n,) from ``first`` towards ``second``, ``slowness_s_km`` (n, 3) for the waves of ``MODES``, ``sound``
    the waves at ``sound_deg``, the direction that is asked about.
    """

    names: tuple[str, str]
    angle_deg: FloatArray = field(repr=False)
    slowness_s_km: FloatArray = field(repr=False)
    sound_deg: float
    sound: AcousticWaves = field(repr=False)
    _axes: tuple[FloatArray, FloatArray] = field(repr=False)

    @property
    def energy_deg(self) -> FloatArray:
        """Angle (3,) of each wave's energy from ``first``, for sound at ``sound_deg``; its part in the plane."""
        group = self.sound.group_m_s
        return np.asarray(np.degrees(np.arctan2(group @ self._axes[1], group @ self._axes[0])))

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (wave, velocity and direction of the energy) for sound at ``sound_deg``."""
        waves = zip(MODES, self.sound.velocity_m_s, self.energy_deg, strict=True)
        return tuple((mode, f"{v:.1f} m/s, energy at {e:.1f} deg") for mode, v, e in waves)

    def plot(self, ax: Any = None) -> Any:
        """Draw the three curves, and the directions of the slow shear wave and of its energy; return the Axes."""
        from aotf_lab.drawing.loops import plot_slowness

        turn = np.radians(self.angle_deg)[:, None]
        x, y = self.slowness_s_km * np.cos(turn), self.slowness_s_km * np.sin(turn)
        slow = 1e3 / float(self.sound.velocity_m_s[0])
        return plot_slowness(
            [(mode, x[:, k], y[:, k]) for k, mode in enumerate(MODES)], self.names, slow, self.sound_deg,
            float(self.energy_deg[0]), ax=ax,
        )  # fmt: skip

    def __str__(self) -> str:
        return rows_text(self._title, self.rows())

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows())

    @property
    def _title(self) -> str:
        return f"Sound at {self.sound_deg:g} deg from {self.names[0]} towards {self.names[1]}"


def slowness_curves(
    sound_deg: float = 0.0,
    first: tuple[float, float, float] = (1.0, 1.0, 0.0),
    second: tuple[float, float, float] = (0.0, 0.0, 1.0),
    *,
    v110_m_s: float = V110_M_S,
    v001_m_s: float = V001_M_S,
    material: str = "TeO2",
) -> SlownessCurves:
    """Return the slowness curves in the plane of ``first`` and ``second`` (crystal axes), with sound at ``sound_deg``.

    The default plane is that of the cut, from [110] towards [001]. Raises ``MaterialError`` for a crystal without
    elastic constants, ``AotfLabError`` for directions that span no plane.

    >>> print(slowness_curves(5.3))
    Sound at 5.3 deg from [110] towards [001]
      slow shear    644.4 m/s, energy at 47.2 deg
      fast shear    2122.2 m/s, energy at 15.7 deg
      longitudinal  4452.9 m/s, energy at 2.3 deg
    """
    constants = elastic_constants(material, v110_m_s=v110_m_s, v001_m_s=v001_m_s)
    angle = np.linspace(0.0, 360.0, 1441)
    waves = acoustic_waves(plane_directions(angle, first, second), constants)
    sound = acoustic_waves(plane_directions(sound_deg, first, second), constants)
    axes = (plane_directions(0.0, first, second), plane_directions(90.0, first, second))
    names = (_name(first), _name(second))
    return SlownessCurves(names, angle, 1e3 / waves.velocity_m_s, sound_deg, sound, axes)


def _name(direction: tuple[float, float, float]) -> str:
    """Return the direction as written on an axis."""
    whole = all(float(part).is_integer() for part in direction)
    return "[" + ("" if whole else " ").join(f"{part:g}" for part in direction) + "]"
