"""What is seen directly to have changed: temperatures and volts that were read, and what each does to the light."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.estimation.checks import z_limit
from aotf_lab.record.fault_tree.chain import Chain, StoredDay
from aotf_lab.record.fault_tree.known import Cause, causes

__all__ = ["Seen", "seen_directly"]


@dataclass(frozen=True)
class Seen:
    """A condition that was read: ``change`` is today's less the stored one.

    ``z`` is the change over its standard uncertainty, the healthy wander included, ``changed`` whether that is more
    than chance. ``light`` is the share of the light that this change alone leaves.
    """

    cause: Cause
    change: UFloat
    z: float
    light: float
    changed: bool

    def __str__(self) -> str:
        size = self.cause.sized(self.change.n, self.change.s)
        return f"{self.cause.name(self.change.n)}: {size}, which alone leaves {100 * self.light:.3g} % of the light"


def seen_directly(
    today: Mapping[str, UFloat], stored: Mapping[str, UFloat | float], wander: Mapping[str, float]
) -> tuple[Seen, ...]:
    """Return every condition that was read, in the order of the light that is lost by it, most first."""
    found = []
    read = [c for c in causes().values() if c.reading in today]
    day = StoredDay({n: np.array([float(nominal_value(v))]) for n, v in stored.items()})
    for cause in read:
        change = today[cause.reading] - stored[cause.reading]
        z = float(change.n / np.hypot(change.s, wander.get(cause.branches[0], 0.0)))
        light = float(Chain(day, {cause.branches[0]: np.array([float(change.n)])}).efficiency()[0])
        found.append(Seen(cause, change, z, light, abs(z) > z_limit(len(read))))
    return tuple(sorted(found, key=lambda s: s.light))
