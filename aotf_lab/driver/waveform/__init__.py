"""One trace of the drive: frequency, harmonics, and the watts of the fundamental.

fit         ``fit_waveform``: trace -> ``Waveform`` (waveform.py)
harmonics   the four-parameter sine fit of IEEE Std 1057, with harmonics
sampling    even or uneven times, folding;  steps  the converter's steps and clipping
harmonic    one harmonic, and what it does to readings of volts rms and peak to peak
power       amplitude -> watts, with the errors of the scale;  checks  what can be wrong
"""

from aotf_lab.driver.waveform.fit import fit_waveform
from aotf_lab.driver.waveform.harmonic import Harmonic
from aotf_lab.driver.waveform.waveform import Waveform

__all__ = ["Harmonic", "Waveform", "fit_waveform"]
