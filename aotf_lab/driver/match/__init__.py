"""How much of the RF the crystal takes: reflection at its connector.

match    ``Match``: return loss, VSWR, absorbed share, matched bands, each with the bound of the directivity
fit      ``fit_match``: S11, or forward and reflected voltages, -> ``Match``
window   which wavelengths a band of frequencies can pick, before any light
"""

from aotf_lab.driver.match.fit import fit_match
from aotf_lab.driver.match.match import Match
from aotf_lab.driver.match.window import optical_window

__all__ = ["Match", "fit_match", "optical_window"]
