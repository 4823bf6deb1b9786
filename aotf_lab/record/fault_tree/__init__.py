"""Half the light is gone: what changed? Today's readings against the stored ones, causes ranked.

tree       ``half_the_light`` -> ``FaultTree``
chain      what each reading becomes when one link changes, by the laws of ``physics``
known      the packaged lists ``readings.toml`` and ``causes.toml``
from_records  ``line_numbers``: what kept calibrations know of a line
asked      what the caller gave, checked
evidence   mean and covariance of what a state of the bench would show
fitted     the size of one cause, by likelihood
seen       temperatures and volts that were read: what they alone do to the light
telling    the cheapest reading that tells two causes apart
"""

from aotf_lab.record.fault_tree.fitted import Fitted
from aotf_lab.record.fault_tree.from_records import line_numbers
from aotf_lab.record.fault_tree.known import Cause, Reading, causes, readings
from aotf_lab.record.fault_tree.seen import Seen
from aotf_lab.record.fault_tree.telling import Telling
from aotf_lab.record.fault_tree.tree import FaultTree, half_the_light

__all__ = [
    "Cause",
    "FaultTree",
    "Fitted",
    "Reading",
    "Seen",
    "Telling",
    "causes",
    "half_the_light",
    "line_numbers",
    "readings",
]
