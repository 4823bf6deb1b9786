"""Sequences: one line after another, as a staircase of time and volts at the oscillator's port.

sequence   ``sequence`` -> ``Sequence``: order, dead times, holds, staircase, light and RF power of each step
result     the answer itself; turn: one step of it; staircase: its corners, and the CSV
steps      ``Step``: what is wanted
place      where the oscillator stands in each step; scene: what light each line has at any volts
port       the port's single pole, and the kick that moves it faster
hop        from one place to the next: dead time, lines crossed on the way; beam: what the beam's width makes of it
order      the order that crosses least, by exact search
dwell      dwells that give equal or weighted light
dac        the staircase in codes of a converter, and what the rounding costs
"""

from aotf_lab.planning.sequence.dac import DacCodes
from aotf_lab.planning.sequence.hop import Crossing, Hop
from aotf_lab.planning.sequence.order import least_order
from aotf_lab.planning.sequence.result import Sequence
from aotf_lab.planning.sequence.sequence import sequence
from aotf_lab.planning.sequence.steps import OFF, PARK, Step

__all__ = ["OFF", "PARK", "Crossing", "DacCodes", "Hop", "Sequence", "Step", "least_order", "sequence"]
