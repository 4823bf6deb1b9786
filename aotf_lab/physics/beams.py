"""Gaussian beams: how the light past a knife edge falls, and how the beam spreads.

The diameter D is that at 1/e^2 of the peak; for a Gaussian beam it equals the second-moment diameter D4sigma of
ISO 11146-1. Past an edge at x goes P(x) = (P/2) erfc(2 sqrt(2) (x - centre) / D), the integral of the Gaussian. From
90 % to 10 % the edge travels 1.2816 D/2 = 0.6408 D (twice the normal quantile of 0.9, over 4); Khosrofian & Garetz,
Appl. Opt. 22, 3406 (1983), and Kogelnik & Li, Appl. Opt. 5, 1550 (1966) for the spreading, both from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from aotf_lab.physics.domain import Values, as_values, require

__all__ = ["EDGE_PER_DIAMETER", "beam_diameter", "edge_share", "rayleigh_range"]

EDGE_PER_DIAMETER = float(special.ndtri(0.9)) / 2.0
"""Travel of a knife edge from 90 % to 10 % of the light, over the 1/e^2 diameter: 0.6408."""


def edge_share(position_mm: ArrayLike, centre_mm: ArrayLike, diameter_mm: ArrayLike) -> Values:
    """Return the share (0 to 1) of a Gaussian beam that passes an edge which covers all below ``position_mm``.

    Arguments broadcast; a negative diameter turns the edge round.

    >>> [round(float(s), 3) for s in edge_share([-0.51264, 0.0, 0.51264], 0.0, 1.6)]
    [0.9, 0.5, 0.1]
    """
    steep = (as_values(position_mm) - as_values(centre_mm)) / as_values(diameter_mm)
    return as_values(0.5 * special.erfc(2.0 * 2.0**0.5 * steep))


def rayleigh_range(waist_diameter_mm: ArrayLike, wavelength_nm: ArrayLike) -> Values:
    """Return the distance (mm) from its waist at which a Gaussian beam is sqrt 2 wider: pi D0^2 / (4 wavelength).

    Raises ``AotfLabError`` for a diameter not above zero.

    >>> round(float(rayleigh_range(1.6, 589.0)))
    3414
    """
    diameter = as_values(waist_diameter_mm)
    require(diameter > 0, diameter, "diameter (mm) of a beam", allowed="above 0 mm", cure="give the 1/e^2 diameter")
    return as_values(np.pi * diameter**2 / (4e-6 * as_values(wavelength_nm)))


def beam_diameter(waist_diameter_mm: ArrayLike, distance_mm: ArrayLike, wavelength_nm: ArrayLike) -> Values:
    """Return the 1/e^2 diameter (mm) of a Gaussian beam ``distance_mm`` from its waist: D0 sqrt(1 + (z / z_R)^2).

    Raises ``AotfLabError`` for a diameter not above zero.

    >>> round(float(beam_diameter(1.6, 2000.0, 589.0)), 3)
    1.854
    """
    away = as_values(distance_mm) / rayleigh_range(waist_diameter_mm, wavelength_nm)
    return as_values(as_values(waist_diameter_mm) * np.hypot(1.0, away))
