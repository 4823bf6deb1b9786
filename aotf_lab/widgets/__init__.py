"""Live panels in a notebook, or on a page made of one: thin skins over pure functions.

panel     what all of them share; controls  their boxes, lists and buttons; look  how all of it looks
tune      a drive voltage, and what it lets through           drive_power  the drive of all lines, up to the wall
park_map  where to leave the oscillator                       new_line     what if I had a line at ...
fit_inspector, on inspected   leave a reading out, say why, see what moves
assignment                    which line is which peak, each left out in turn
warm_up_watch, on warm_up_state   a log that grows, and how long to wait
opening_check, on opening_state             a few readings against what was kept
generator  what to type                                       sequence_preview  a sequence before it is played
"""

from aotf_lab.widgets.assignment import AssignmentPanel
from aotf_lab.widgets.drive_power import DrivePanel
from aotf_lab.widgets.fit_inspector import FitPanel
from aotf_lab.widgets.generator import GeneratorPanel
from aotf_lab.widgets.new_line import NewLinePanel
from aotf_lab.widgets.opening_check import OpeningPanel
from aotf_lab.widgets.panel import Panel
from aotf_lab.widgets.park_map import ParkPanel
from aotf_lab.widgets.sequence_preview import SequencePanel
from aotf_lab.widgets.tune import TunePanel
from aotf_lab.widgets.warm_up_watch import WarmUpPanel

__all__ = [
    "AssignmentPanel",
    "DrivePanel",
    "FitPanel",
    "GeneratorPanel",
    "NewLinePanel",
    "OpeningPanel",
    "Panel",
    "ParkPanel",
    "SequencePanel",
    "TunePanel",
    "WarmUpPanel",
]
