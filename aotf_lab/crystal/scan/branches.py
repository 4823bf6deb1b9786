"""Two peaks in one scan: both polarisations of the light, or a second line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat
from uncertainties.umath import atan, sqrt

__all__ = ["Branches", "branches_of"]


@dataclass(frozen=True)
class Branches:
    """Two passbands of one shape in a scan.

    ``main_mhz`` is the higher peak, ``second_mhz`` the other (true MHz, correlated); ``separation_mhz`` the second less
    the main one, ``share`` the second's part (0 to 0.5) of the light of both. ``gained`` is the rise of twice the log
    likelihood that the second brings.
    """

    main_mhz: UFloat
    second_mhz: UFloat
    separation_mhz: UFloat
    share: UFloat
    gained: float

    @property
    def turn_deg(self) -> UFloat:
        """By how much (deg) linearly polarised light would be turned from its best direction, by Malus's law."""
        return atan(sqrt(self.share / (1.0 - self.share))) * (180.0 / np.pi)

    def __str__(self) -> str:
        return (
            f"{self.main_mhz:.2uS} and {self.second_mhz:.2uS} MHz, {1e3 * self.separation_mhz:.2uS} kHz apart, "
            f"{100 * self.share:.2uS} % of the light in the second"
        )


def branches_of(main: UFloat, separation: UFloat, ratio: UFloat, gained: float) -> Branches:
    """Return the two branches of a fit whose first passband peaks at ``main`` (MHz), the higher one first.

    The other has ``ratio`` times its light, ``separation`` (MHz) above it.
    """
    if ratio.n > 1.0:
        return Branches(main + separation, main, -separation, 1.0 / (1.0 + ratio), gained)
    return Branches(main, main + separation, separation, ratio / (1.0 + ratio), gained)
