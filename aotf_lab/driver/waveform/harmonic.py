"""What a trace holds beside its fundamental, and what that does to a reading of volts rms or peak to peak."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

__all__ = ["Harmonic", "rms_excess", "vpp_excess"]


@dataclass(frozen=True)
class Harmonic:
    """One harmonic: its ``order``, its power over that of the fundamental (``share``), and its phase (rad).

    The phase is that of cos(order x - phase) when the fundamental is cos(x).
    """

    order: int
    share: UFloat
    phase_rad: float

    @property
    def level_dbc(self) -> float:
        """Level against the fundamental (dBc), of the share as found; -inf for none at all."""
        return float(10.0 * np.log10(self.share.n)) if self.share.n > 0 else float("-inf")

    @property
    def highest_dbc(self) -> float:
        """Level (dBc) that the harmonic does not exceed, with two standard uncertainties."""
        return float(10.0 * np.log10(max(self.share.n, 0.0) + 2.0 * self.share.s))


def rms_excess(harmonics: Sequence[Harmonic]) -> float:
    """Return by which share a power from volts rms exceeds that of the fundamental: the sum of the shares.

    A second harmonic at -10 dBc adds 10 % (Parseval).
    """
    return float(sum(h.share.n for h in harmonics))


def vpp_excess(harmonics: Sequence[Harmonic]) -> float:
    """Return by which share a power from volts peak to peak, read as those of a sine, exceeds the fundamental's.

    With a third harmonic at -10 dBc it is up to (1 + 10^-0.5)^2 - 1 = 73 %; the phases decide.
    """
    x = np.linspace(0.0, 2.0 * np.pi, 4096, endpoint=False)
    wave = np.cos(x)
    for h in harmonics:
        wave = wave + max(h.share.n, 0.0) ** 0.5 * np.cos(h.order * x - h.phase_rad)
    return float((np.ptp(wave) / 2.0) ** 2 - 1.0)
