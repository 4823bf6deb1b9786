"""How is the light polarised? Light behind a turning analyser -> axis, extinction, and what a crystal's axis gets."""

from aotf_lab.crystal.polarisation.fit import fit_polarisation
from aotf_lab.crystal.polarisation.polarisation import Polarisation

__all__ = ["Polarisation", "fit_polarisation"]
