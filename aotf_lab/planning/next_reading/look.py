"""A reading that could be made next: what it would show, how finely, and what it costs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from uncertainties import UFloat

__all__ = ["CALIBRATION", "Candidate", "Look"]

CALIBRATION = "calibration"


@dataclass(frozen=True)
class Look:
    """One number that a reading shows: ``shown``, as it is known now and without the noise of the reading itself.

    ``u_random`` is the noise of one reading, which repeats average down, ``u_kept`` what repeats share (how well the
    wavelength of a line is stated, put into MHz). ``done`` repeats of the same thing are in the fit already.
    """

    shown: UFloat
    u_random: float
    u_kept: float = 0.0
    done: int = 0

    def variance(self, repeats: float = 1.0) -> float:
        """Return the variance with which ``repeats`` of it tell what is not in the fit already; infinite: nothing."""
        new = self._information(self.done + repeats) - (self._information(self.done) if self.done else 0.0)
        return 1.0 / new if new > 0 else np.inf

    def _information(self, repeats: float) -> float:
        variance = self.u_random**2 / repeats + self.u_kept**2
        return 1.0 / variance if variance > 0 else np.inf


@dataclass(frozen=True)
class Candidate:
    """A reading that could be made: its ``kind``, what to do in ``words``, and its ``cost`` in single readings.

    ``place`` is where: V of the oscillator, nm of a line, W of efficiency, (V, MHz) of a level.
    """

    kind: str
    words: str
    looks: tuple[Look, ...] = field(repr=False)
    cost: int = 1
    place: tuple[float, ...] = ()
    line: str = ""
    side: str = ""
