"""The check at the start of a day: a few readings against the kept calibrations.

condition      kept numbers given new readings, covariance and all
prior          what a link may have done since;  judge  shift, tilt or another shape
link           the verdict on one link and its update;  words  the same in words
ask_oscillator, ask_crystal   today's readings as a question to a link
opening        ``opening_check``
"""

from aotf_lab.record.opening.link import CheckReading, LinkCheck
from aotf_lab.record.opening.opening import Opening, opening_check

__all__ = ["CheckReading", "LinkCheck", "Opening", "opening_check"]
