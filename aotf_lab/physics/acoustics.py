"""Velocity of the slow shear wave of paratellurite, against its direction."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values, require

__all__ = ["slow_shear_velocity"]


def slow_shear_velocity(angle_deg: ArrayLike, v110_m_s: float = 617.0, v001_m_s: float = 2104.0) -> Values:
    """Return the phase velocity (m/s) of the slow shear wave at ``angle_deg`` from [110] towards [001].

    v^2 = v110^2 cos^2 a + v001^2 sin^2 a, for a wave polarised along [1-10] that runs in the
    (1-10) plane. The velocities and the law: Ohmachi & Uchida, J. Appl. Phys. 41, 2307 (1970), quoted
    from memory (616 and 617 m/s are both in use along [110]; ``data/acoustic_velocity.csv``). The two sides
    of [110] are alike. Raises ``AotfLabError`` beyond 90 degrees.

    >>> [round(float(v), 1) for v in slow_shear_velocity([0.0, 5.3, 90.0])]
    [617.0, 644.4, 2104.0]
    """
    angles = as_values(angle_deg)
    require(
        np.abs(angles) <= 90.0, angles, "acoustic angle beyond [001]", allowed="-90 to 90 deg from [110]",
        cure="give the angle in degrees between the acoustic wave vector and [110]",
    )  # fmt: skip
    angle = np.radians(angles)
    return np.hypot(v110_m_s * np.cos(angle), v001_m_s * np.sin(angle))
