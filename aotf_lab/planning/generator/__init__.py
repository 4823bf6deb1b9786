"""What to type into a generator so that the oscillator stands where a line lights.

settings   ``generator_settings`` -> ``GeneratorSettings``: typed values, what they make, checks
output     ``generator_output`` -> ``Output``: the generator at the port, its errors shared by all that it makes
wanted     the levels wanted at the port;  reach: what can be set, and the bias that brings a level in reach
typed      offset and amplitude on either kind of display, rounded to the generator's steps
made       frequency, error and light of each level;  slips: what the commonest mistakes would make
judge      what stands against the settings
sweep      ``sine_sweep`` -> ``SineSweep``: when each line lights on a sine, and for how long
"""

from aotf_lab.planning.generator.made import Made
from aotf_lab.planning.generator.output import Output, generator_output
from aotf_lab.planning.generator.reach import Bias, Reach
from aotf_lab.planning.generator.settings import GeneratorSettings, generator_settings
from aotf_lab.planning.generator.slips import Slip
from aotf_lab.planning.generator.sweep import SineSweep, Window, sine_sweep
from aotf_lab.planning.generator.typed import Typed
from aotf_lab.planning.generator.wanted import Wanted

__all__ = [
    "Bias",
    "GeneratorSettings",
    "Made",
    "Output",
    "Reach",
    "SineSweep",
    "Slip",
    "Typed",
    "Wanted",
    "Window",
    "generator_output",
    "generator_settings",
    "sine_sweep",
]
