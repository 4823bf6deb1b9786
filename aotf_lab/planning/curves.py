"""The calibrations that a set-point is composed of, side by side and each replaceable."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from aotf_lab.crystal import EfficiencyLines, Scan, Tuning
from aotf_lab.driver import Vco
from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.physics.coupled_waves import light_lost

__all__ = ["Curves", "Doubt", "light_lost_percent"]


@dataclass(frozen=True)
class Doubt:
    """What stands against a line, in words; ``grave`` when its set-point must wait until that is cleared up."""

    words: str
    grave: bool


@dataclass(frozen=True)
class Curves:
    """What is known of a bench; None or empty where it was not measured.

    ``scans`` are the measured passbands by line name, ``rated_rf_power_w`` the crystal's rated RF
    power (CW, at the connector) from its own papers. ``level`` is the amplifier, ``safe`` its highest supply that
    is sure to keep the crystal below that rating. ``doubts`` says what stands against a line,
    ``missing`` why a curve ("vco", "tuning", "efficiency") is None.
    """

    vco: Vco | None = None
    tuning: Tuning | None = None
    efficiency: EfficiencyLines | None = None
    scans: Mapping[str, Scan] = field(default_factory=dict)
    rated_rf_power_w: float | None = None
    doubts: Mapping[str, Doubt] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)
    level: Level | None = None
    safe: SafeSupply | None = None

    def fwhm_mhz(self, frequency_mhz: float) -> float | None:
        """Return the passband's FWHM near ``frequency_mhz``: between the measured ones, or the nearest."""
        if not self.scans:
            return None
        pairs = sorted((s.centre_mhz.n, s.fwhm_mhz.n) for s in self.scans.values())
        centres, widths = np.array(pairs).T
        return float(np.interp(frequency_mhz, centres, widths))


def light_lost_percent(error_mhz: float, fwhm_mhz: float) -> float:
    """Return the share of light (percent) lost to a frequency error in a passband of ``fwhm_mhz``."""
    return 100 * float(light_lost(error_mhz / fwhm_mhz))
