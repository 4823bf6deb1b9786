"""How deep can light be modulated, against frequency? -> half depth, -3 dB, beam over velocity."""

from aotf_lab.timing.depth.depth import ModulationDepth
from aotf_lab.timing.depth.fit import fit_modulation_depth

__all__ = ["ModulationDepth", "fit_modulation_depth"]
