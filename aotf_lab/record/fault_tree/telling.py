"""Which reading would tell two causes apart, and what it costs."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from aotf_lab.estimation.checks import z_limit
from aotf_lab.record.fault_tree.chain import READINGS
from aotf_lab.record.fault_tree.evidence import Evidence
from aotf_lab.record.fault_tree.fitted import Fitted, fitted, foretold
from aotf_lab.record.fault_tree.known import Reading, causes, readings

__all__ = ["Telling", "telling_readings"]


@dataclass(frozen=True)
class Telling:
    """A reading that would tell the first cause from a rival.

    ``expected_first`` is what it would show under the first cause, ``expected_rival`` under the rival, and ``z`` by how
    much the rival would then stand behind, once its size had been fitted anew.
    """

    reading: Reading
    expected_first: float
    expected_rival: float
    z: float

    @property
    def enough(self) -> bool:
        """Whether it would tell them apart alone."""
        return self.z >= z_limit()

    def __str__(self) -> str:
        unit = f" {self.reading.unit}".rstrip()
        return (
            f"{self.reading.do} ({self.reading.minutes:g} min): {self.expected_first:.4g}{unit} or "
            f"{self.expected_rival:.4g}{unit}, {self.z:.1f} standard uncertainties apart"
        )


def _possible(evidence: Evidence) -> tuple[Reading, ...]:
    """Return what has not been read and has a stored number to be held against, cheapest first."""
    read = {*evidence.names, *(c.reading for c in causes().values() if c.branches[0] in evidence.given)}
    fresh = (r for r in readings().values() if r.key not in read and READINGS[r.key][0] in evidence.stored)
    return tuple(sorted(fresh, key=lambda r: r.minutes))


def telling_readings(evidence: Evidence, first: Fitted, rivals: Collection[Fitted]) -> Mapping[str, Telling | None]:
    """Return for each rival (by its key) the cheapest reading that would tell it from ``first``.

    Where none would do it alone that of the largest z is returned; None where no reading that is left sees a
    difference of one standard uncertainty. Each reading is taken to come out as ``first`` foretells it, and the rival
    is fitted to it with the others.
    """
    found: dict[str, Telling | None] = {r.cause.key: None for r in rivals}
    for reading in _possible(evidence):
        value = foretold(evidence, first, reading.key)
        more = evidence.with_reading(reading.key, value, reading.u_of(value))
        base = fitted(more, first.cause).two_ln
        for rival in rivals:
            best = found[rival.cause.key]
            if best is not None and best.enough:
                continue
            z = math.sqrt(max(fitted(more, rival.cause).two_ln - base, 0.0))
            if z > 1.0 and (best is None or z > best.z):
                other = foretold(evidence, rival, reading.key)
                found[rival.cause.key] = Telling(reading, value, other, z)
    return found
