"""What the calibration of an oscillator and that of a crystal have in common."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from aotf_lab.estimation.checks import Check
from aotf_lab.reading.source import SourceFile
from aotf_lab.record.stored import StoredNumbers

__all__ = ["Calibration", "Update"]


@dataclass(frozen=True)
class Update:
    """A change of a calibration after it was made: ISO date, what was done, and by how much it moved (MHz)."""

    date: str
    words: str
    shift_mhz: float = 0.0
    u_shift_mhz: float = 0.0


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration:
    """A calibration that is kept.

    - ``name``: of the bench or part, free; ``measured``: ISO date of the readings.
    - ``numbers``: the curve at its knots and what stands beside it, with their covariance.
    - ``conditions``: means while it was measured, such as ``temperature_c``.
    - ``coefficients``: name -> (value, u), such as ``mhz_per_k``, where they are known.
    - ``made_of``: the raw files; ``versions``: of the programs; ``checks``: as they stood when it was made.
    - ``updates``: what changed it since.
    """

    name: str
    measured: str
    numbers: StoredNumbers = field(repr=False)
    conditions: Mapping[str, float] = field(default_factory=dict)
    coefficients: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    made_of: tuple[SourceFile, ...] = field(default=(), repr=False)
    versions: Mapping[str, str] = field(default_factory=dict, repr=False)
    checks: tuple[Check, ...] = field(default=(), repr=False)
    updates: tuple[Update, ...] = ()

    @property
    def as_of(self) -> str:
        """The date from which it stands as it is: of the last update, else of the readings."""
        return max([self.measured, *(update.date for update in self.updates)])

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that had not passed when it was made."""
        return tuple(check for check in self.checks if not check.passed)
