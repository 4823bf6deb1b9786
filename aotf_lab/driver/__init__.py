"""The driver: the oscillator's curve from drive voltage to frequency."""

from aotf_lab.driver.vco import Side, Vco
from aotf_lab.driver.vco_fit import fit_vco

__all__ = ["Side", "Vco", "fit_vco"]
