"""Where to leave the oscillator when no line is wanted: the frequency at which least light leaks.

harmonics  what the driver gives at 2 f and 3 f, measured or assumed
drive      RF power over the band while parked, and each line's full light at the same supply
reach      which frequencies oscillator, amplifier and generator can set;  places  the quiet stretches
leak       light of every line at f, 2 f and 3 f, over frequency
bound      the leak at one frequency with its causes of doubt
park       ``park_frequency`` -> ``Park`` (result.py)
"""

from aotf_lab.planning.park.harmonics import HarmonicLevel, harmonic_levels
from aotf_lab.planning.park.leak import Combine, LeakMap, PassbandsLike
from aotf_lab.planning.park.park import park_frequency
from aotf_lab.planning.park.reach import Zone
from aotf_lab.planning.park.result import Park, QuietPlace, Trap

__all__ = [
    "Combine",
    "HarmonicLevel",
    "LeakMap",
    "Park",
    "PassbandsLike",
    "QuietPlace",
    "Trap",
    "Zone",
    "harmonic_levels",
    "park_frequency",
]
