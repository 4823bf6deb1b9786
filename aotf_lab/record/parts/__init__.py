"""A part of the bench was changed: which results stay, which are void, and what restores them.

change     ``change_of_parts`` -> ``PartsChange``, with an ``Outcome`` for every result
cover      the shortest set of readings
concerned  the kept calibrations, files and lines that it concerns
known      the packaged lists ``results.toml``, ``restoring.toml`` and ``parts.toml``
"""

from aotf_lab.record.parts.change import Outcome, PartsChange, change_of_parts
from aotf_lab.record.parts.known import Part, Restoring, Result, parts, restoring, results

__all__ = ["Outcome", "Part", "PartsChange", "Restoring", "Result", "change_of_parts", "parts", "restoring", "results"]
