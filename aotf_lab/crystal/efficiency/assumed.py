"""What is assumed of efficiency where no drive showed it, each error once for all lines that rest on it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from uncertainties import UFloat

from aotf_lab.estimation import new_cause

__all__ = ["PEAK_SPREAD", "AssumedEfficiency"]

TYPICAL_PEAK, U_TYPICAL_PEAK = 0.80, 0.10
"""Peak efficiency where no line's drive showed it (common practice, no source: 0.7 to 0.95)."""

PEAK_SPREAD = 0.05
"""By how much lines differ in peak efficiency (optics, beam size) before any was measured
(common practice, no source)."""

U_FAR = 0.05
"""Relative error of P_sat by the law of wavelength far beyond the lines that were measured."""


@dataclass(frozen=True, eq=False)
class AssumedEfficiency:
    """The assumptions of one ``EfficiencyLines``."""

    _peaks: dict[str, UFloat] = field(default_factory=dict, repr=False)

    @cached_property
    def far(self) -> UFloat:
        """Relative error of P_sat far from the measured lines: what the law lacks bends both ends the same way."""
        return new_cause("P_sat far from the measured lines", U_FAR)

    @cached_property
    def _peak_of_all(self) -> UFloat:
        return new_cause("peak efficiency, never measured", (U_TYPICAL_PEAK**2 - PEAK_SPREAD**2) ** 0.5, TYPICAL_PEAK)

    def peak(self, line: str) -> UFloat:
        """Return the typical peak efficiency for ``line``: an error that all lines share, and what lines differ by."""
        if line not in self._peaks:
            own = new_cause(f"peak efficiency of line {line} beside others", PEAK_SPREAD)
            self._peaks[line] = self._peak_of_all + own
        return self._peaks[line]
