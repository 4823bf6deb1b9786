"""What stands in for an amplifier's level and for traces of the driver that were not measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from uncertainties import UFloat

from aotf_lab.estimation import new_cause

__all__ = ["ASSUMED_DBC", "U_ASSUMED_DB", "U_FLAT_DB", "AssumedDriver"]

U_FLAT_DB = 1.0
"""How far an amplifier's power may be off over a band where it was not measured (common practice, no source)."""

ASSUMED_DBC = {2: -20.0, 3: -25.0}
U_ASSUMED_DB = 6.0
"""Levels of a class AB amplifier where no trace was saved, and how far they may be off (common practice, no source)."""

_NEPER = float(np.log(10.0)) / 10.0


@dataclass(frozen=True, eq=False)
class AssumedDriver:
    """The errors of these assumptions: one each for all that is planned on one bench, so that differences know it."""

    @cached_property
    def flatness(self) -> UFloat:
        """Relative error of an RF power that is taken as the same at every frequency."""
        return new_cause("amplifier not flat (assumed)", U_FLAT_DB * _NEPER)

    @cached_property
    def harmonics(self) -> Mapping[int, UFloat]:
        """Error of the logarithm of each assumed harmonic's share, by order."""
        return {order: new_cause(f"harmonic {order} not measured", U_ASSUMED_DB * _NEPER) for order in ASSUMED_DBC}
