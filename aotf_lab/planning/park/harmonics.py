"""What the driver gives at multiples of its frequency, over the fundamental's power: measured, or assumed wide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.planning.assumed_driver import ASSUMED_DBC, AssumedDriver
from aotf_lab.reading.harmonic_content import HarmonicShare

__all__ = ["HIGHEST_ORDER", "HarmonicLevel", "harmonic_levels"]

HIGHEST_ORDER = 3
"""Orders above this are weak, and mostly beyond the band of the crystal's transducer (common practice, no source)."""

_PER_NEPER = 10.0 / float(np.log(10.0))
_CONFIDENT = 1.645
_MOST_LN = 2.0


@dataclass(frozen=True)
class HarmonicLevel:
    """Order h: its ``share`` of the fundamental's power, and ``doubt``: the error of its logarithm (mean 0)."""

    order: int
    share: float
    doubt: UFloat | float
    measured: bool

    @property
    def level_dbc(self) -> float:
        """Level against the fundamental (dBc)."""
        return float(10.0 * np.log10(self.share))

    @property
    def upper_share(self) -> float:
        """The share that is not exceeded with 95 % confidence."""
        u = self.doubt.s if isinstance(self.doubt, UFloat) else 0.0
        return float(self.share * np.exp(_CONFIDENT * u))

    def __str__(self) -> str:
        if self.order == 1:
            return "fundamental"
        u = _PER_NEPER * self.doubt.s if isinstance(self.doubt, UFloat) else 0.0
        how = "measured" if self.measured else "assumed, no trace saved"
        return f"harmonic {self.order} at {self.level_dbc:.1f} +- {u:.1f} dBc ({how})"


def harmonic_levels(
    harmonics: Sequence[HarmonicShare] | None, assumed: AssumedDriver | None = None
) -> tuple[HarmonicLevel, ...]:
    """Return the fundamental and the harmonics up to the third.

    ``harmonics`` as saved traces show them, empty for a pure sine; None where no trace was saved: then -20 dBc and
    -25 dBc are assumed, +- 6 dB (k = 1), with the errors of ``assumed`` (``Curves.assumed_driver``; left out, new
    ones). They are those at the amplifier's output, whatever the frequency.

    >>> [str(h) for h in harmonic_levels(None)][1]
    'harmonic 2 at -20.0 +- 6.0 dBc (assumed, no trace saved)'
    """
    first = HarmonicLevel(1, 1.0, 0.0, True)
    if harmonics is None:
        doubts = (assumed or AssumedDriver()).harmonics
        levels = ((order, 10.0 ** (dbc / 10.0)) for order, dbc in ASSUMED_DBC.items())
        return (first, *(HarmonicLevel(order, share, doubts[order], False) for order, share in levels))
    found = [h for h in harmonics if 2 <= h.order <= HIGHEST_ORDER and h.share.n > 0]
    return (first, *(HarmonicLevel(h.order, float(h.share.n), _doubt(h.share), True) for h in found))


def _doubt(share: UFloat) -> UFloat:
    """Return the error of ln(share), no wider than a factor of e^2."""
    relative = (share - share.n) / max(share.n, 1e-12)
    return relative if relative.s <= _MOST_LN else relative * (_MOST_LN / relative.s)
