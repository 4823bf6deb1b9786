"""How fast does the light switch? A trace of it -> rise, fall, delay, beam over velocity, overshoot.

fit        ``fit_edge``
edge       ``Edge``: the result
trace      the readings as arrays
steps      find the edges
noise      the plateaus' noise, and what one sample owes to those before it
model      the fit of all edges at once
drive      the delay
overshoot, shape  what an edge without them would not leave
"""

from aotf_lab.timing.edge.edge import Edge
from aotf_lab.timing.edge.fit import fit_edge
from aotf_lab.timing.edge.overshoot import Overshoot

__all__ = ["Edge", "Overshoot", "fit_edge"]
