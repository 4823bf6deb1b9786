"""One trace of the drive: frequency, harmonics, and the watts of the fundamental.

fit         ``fit_waveform``: trace -> ``Waveform`` (waveform.py)
samples     what is no trace of a wave is refused
sampling    even or uneven times, folding;  stamps  times that were rounded when they were printed
spectrum    the strongest line, and which one is the fundamental;  orders  harmonics that can be told apart
harmonics   the four-parameter sine fit of IEEE Std 1057, with harmonics
steps       the converter's steps, and what rounding does;  clipping  a wave that was cut off
rest        what is left over the fit: noise, a second tone, a frequency that moves
alias       the true frequency, by a counter or by the oscillator's range
harmonic    one harmonic, and what it does to readings of volts rms and peak to peak
shares      what several traces say of one driver's harmonics
power       volts -> watts and shares of power, with the errors of the scale;  checks  what can be wrong
"""

from aotf_lab.driver.waveform.fit import fit_waveform
from aotf_lab.driver.waveform.harmonic import Harmonic, vpp_excess_range
from aotf_lab.driver.waveform.waveform import Waveform

__all__ = ["Harmonic", "Waveform", "fit_waveform", "vpp_excess_range"]
