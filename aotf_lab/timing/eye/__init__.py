"""Serial data through the light: how fast bits may follow each other, and what the eye looks like.

rate      ``data_rate`` -> ``DataRate``: the highest bit rate for a stated opening of the eye
rate_result   the answer itself
channel   ``Channel``: edges, contrast, noise and jitter of light that is keyed on and off
worst     the least and the most light that any pattern of bits makes: exact, by a search over transitions
openings  vertical and horizontal opening of the worst eye
patterns  pseudo-random bits by a shift register
diagram   the eye by simulation, to look at and to check the exact one
noise     bit errors by Gaussian noise
"""

from aotf_lab.timing.eye.channel import Channel
from aotf_lab.timing.eye.diagram import EyeDiagram, simulated_eye
from aotf_lab.timing.eye.noise import bit_error_rate, q_needed
from aotf_lab.timing.eye.openings import Openings, openings
from aotf_lab.timing.eye.patterns import POLYNOMIALS, pseudo_random_bits
from aotf_lab.timing.eye.rate import data_rate
from aotf_lab.timing.eye.rate_result import DataRate
from aotf_lab.timing.eye.worst import extreme_light

__all__ = [
    "POLYNOMIALS",
    "Channel",
    "DataRate",
    "EyeDiagram",
    "Openings",
    "bit_error_rate",
    "data_rate",
    "extreme_light",
    "openings",
    "pseudo_random_bits",
    "q_needed",
    "simulated_eye",
]
