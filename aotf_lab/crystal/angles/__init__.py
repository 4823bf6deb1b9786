"""Where do the orders go? Spots on a screen -> separation angles, colour registration, and what they say of v."""

from aotf_lab.crystal.angles.angles import Angles
from aotf_lab.crystal.angles.fit import fit_angles

__all__ = ["Angles", "fit_angles"]
