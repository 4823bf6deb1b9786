"""What to measure next: the reading that shrinks the uncertainty of a wanted quantity most.

design        what one more reading does to a covariance: linear Bayes, c-optimal choice
wanted        the quantities that can be wanted, each a number with its causes of error
look          a reading not yet made: what it would show, how finely, at what cost
oscillator, lines, efficiency, level    the readings that can be made next, by kind
calibrations  what only a calibration lessens: causes that all readings of a kind share
next_readings all of it put together;  result  the ranking, and advice in three sentences
"""

from aotf_lab.planning.next_reading.look import Candidate, Look
from aotf_lab.planning.next_reading.next_readings import next_readings
from aotf_lab.planning.next_reading.result import Choice, Floor, NextReadings
from aotf_lab.planning.next_reading.wanted import Wanted, power_of_safe_supply, saturation_of, setting_of, wavelength_of

__all__ = [
    "Candidate", "Choice", "Floor", "Look", "NextReadings", "Wanted", "next_readings", "power_of_safe_supply",
    "saturation_of", "setting_of", "wavelength_of",
]  # fmt: skip
