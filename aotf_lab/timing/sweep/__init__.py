"""How fast may the frequency be swept? The light that a sweep loses, what limits it, and lag against hysteresis.

limits   ``sweep_limits`` -> ``SweepLimits``: the highest rate for a stated loss, and the part that sets it
pulse    the light of a line as the sweep crosses it, blurred by beam, detector and the generator's steps
lag      ``lag_or_hysteresis``: from up and down at several rates
"""

from aotf_lab.timing.sweep.lag import LagOrHysteresis, lag_or_hysteresis
from aotf_lab.timing.sweep.limits import SweepLimits, SweepPart, sweep_limits
from aotf_lab.timing.sweep.pulse import peak_light

__all__ = ["LagOrHysteresis", "SweepLimits", "SweepPart", "lag_or_hysteresis", "peak_light", "sweep_limits"]
