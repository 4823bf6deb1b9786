"""How wide is the beam? Light past a knife edge -> the 1/e^2 diameter."""

from aotf_lab.crystal.beam.beam_size import BeamSize
from aotf_lab.crystal.beam.fit import fit_beam_size

__all__ = ["BeamSize", "fit_beam_size"]
