"""The loops of scattered light on the target: where they should be, and the acoustic velocity from where they are.

expected    cut, drive and distance -> the loops on the screen
slowness    slowness curves in the plane of the cut, and where the energy goes
fit         points seen on a loop -> velocity of the slow shear wave along [110], and which loop it is
"""

from aotf_lab.crystal.loops.expected import Loop, Loops, expected_loops
from aotf_lab.crystal.loops.fit import fit_loops
from aotf_lab.crystal.loops.found import LoopFit, Rival
from aotf_lab.crystal.loops.slowness import SlownessCurves, slowness_curves

__all__ = [
    "Loop", "LoopFit", "Loops", "Rival", "SlownessCurves", "expected_loops", "fit_loops", "slowness_curves",
]  # fmt: skip
