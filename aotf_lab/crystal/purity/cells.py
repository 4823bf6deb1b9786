"""One cell of the crosstalk matrix: what is predicted of it, what was measured, and whether the two agree."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log10, nan

import numpy as np
from uncertainties import UFloat, nominal_value, std_dev
from uncertainties import umath as um

from aotf_lab.crystal.passbands.bound import COVER
from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.purity.detection import Detection
from aotf_lab.crystal.purity.leakage import Leakage

__all__ = ["Cell", "measured_ratio", "predicted_cell"]

_SAME_PLACE, _LEAST_LIGHT = 0.1, 0.2
"""A leak counts as read at the set frequency within this share of the line's FWHM; the least share of its light that
the set line is taken to have."""


@dataclass(frozen=True)
class Cell:
    """Light of line ``light_of`` over that of line ``set_to`` when the filter is set to the latter: ratios, not dB.

    ``ratio`` is predicted, None beyond the main lobe, where only ``bound``, the most it can be by coupled waves, is
    known. ``measured`` is None where there was no reading there.
    """

    set_to: str
    light_of: str
    ratio: UFloat | None
    bound: float
    measured: Detection | None = None

    @property
    def predicted_db(self) -> UFloat | None:
        """Predicted level (dB), None where only a bound is known."""
        return None if self.ratio is None else 10 * um.log10(self.ratio)

    @property
    def bound_db(self) -> float:
        """The most that it can be by coupled waves (dB)."""
        return 10 * log10(self.bound) if self.bound > 0 else -inf

    @property
    def measured_db(self) -> UFloat | None:
        """Measured level (dB), None where nothing was read, or nothing seen."""
        return 10 * um.log10(self.measured.value) if self.measured is not None and self.measured.seen else None

    @property
    def measured_bound_db(self) -> float | None:
        """The most that it is by the readings (dB, 95 %)."""
        return 10 * log10(self.measured.upper) if self.measured is not None and self.measured.upper > 0 else None

    @property
    def z(self) -> float:
        """Measured less predicted over the u of that; less the bound where only that is known. NaN for nothing."""
        if self.measured is None or not self.measured.value.s > 0:
            return nan
        if self.ratio is None:
            return max(float(self.measured.value.n) - self.bound, 0.0) / float(self.measured.value.s)
        away = self.measured.value - self.ratio
        return float(away.n) / float(away.s) if away.s > 0 else 0.0

    @property
    def predicted_words(self) -> str:
        """Return the prediction in dB."""
        level = self.predicted_db
        return f"< {self.bound_db:.1f}" if level is None else f"{level:.1uS}"

    @property
    def measured_words(self) -> str:
        """Return what was measured in dB, "" for nothing."""
        if self.measured is None:
            return ""
        level = self.measured_db
        bound = self.measured_bound_db
        if level is not None:
            return f"{level:.1uS}"
        return "nothing" if bound is None else f"< {bound:.1f}"


def predicted_cell(
    passbands: Passbands, set_to: str, light_of: str, set_mhz: UFloat | float, rf_power_w: float, weight: float
) -> Cell:
    """Return the prediction; ``weight`` is the incident light of ``light_of`` over that of ``set_to``."""
    f, u = float(nominal_value(set_mhz)), float(std_dev(set_mhz))
    own = passbands.efficiency(set_to, set_mhz, rf_power_w)
    places = f + COVER * u * np.array([-1.0, 0.0, 1.0])
    most = float(np.max(passbands.upper(light_of, places, rf_power_w)))
    least = max(own.n - COVER * own.s, _LEAST_LIGHT * own.n)
    ratio = None
    if passbands.line(light_of).in_main_lobe(f, rf_power_w):
        ratio = weight * passbands.efficiency(light_of, set_mhz, rf_power_w) / own
    return Cell(set_to, light_of, ratio, weight * most / least)


def measured_ratio(
    passbands: Passbands, leaks: dict[str, Leakage], cell: Cell, set_mhz: UFloat | float, rf_power_w: float,
    weight: float, same_power: float, tests: int,
) -> Detection | str | None:  # fmt: skip
    """Return what was measured for ``cell``, one of ``tests``; None where it was not read.

    Words where it was read at another RF power. The set line's own light is the measured one where its file has a
    reading there, else the predicted.
    """
    leak = leaks.get(cell.light_of)
    k = None if leak is None else leak.nearest(set_mhz, _SAME_PLACE * passbands.fwhm_mhz(cell.light_of).n)
    if leak is None or k is None:
        return None
    if leak.rf_power_w is not None and abs(leak.rf_power_w[k] / rf_power_w - 1) > same_power:
        return f"{cell.light_of} at {cell.set_to} was read at {leak.rf_power_w[k]:.3g} W, not {rf_power_w:.3g} W"
    own = passbands.efficiency(cell.set_to, set_mhz, rf_power_w)
    mine = leaks.get(cell.set_to)
    at = None if mine is None else mine.nearest(set_mhz, _SAME_PLACE * passbands.fwhm_mhz(cell.set_to).n)
    if mine is not None and at is not None and mine.efficiency[at].n > 3 * mine.efficiency[at].s:
        same = mine.rf_power_w is None or abs(mine.rf_power_w[at] / rf_power_w - 1) <= same_power
        own = mine.efficiency[at] if same else own
    return Detection(weight * leak.efficiency[k] / own, leak.dof[k], tests)
