"""Readings in good form that are probably not what happened: each cause that a bench knows, by its name.

    suspicion    what every cause returns: what, where, found, likely cause, cure, rows
    ask          ``suspicions`` of one table, ``suspicions_between`` several
    clock_order  time reversed, stepping back, or standing twice

A suspicion is no error: the readings stay as they are, and a person decides. Every cause is a pure
function of the readings (and of facts that are stated elsewhere, as plain arguments).
"""

from aotf_lab.reading.sanity.ask import suspicions, suspicions_between
from aotf_lab.reading.sanity.suspicion import Suspicion

__all__ = ["Suspicion", "suspicions", "suspicions_between"]
