"""The light of any line at any frequency, by the coupled-wave formula written once more: a stand-in for passbands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

WEAK_FWHM = 0.8858929413789046
"""Full width at half maximum of (sin x / x)^2 over the distance from peak to null, x = 1.3915573782515 at half."""


@dataclass(frozen=True)
class LawPassband:
    peak_mhz: UFloat
    fwhm_mhz: UFloat
    saturation_w: UFloat
    top: float
    lean: float = 0.1
    wings: float = 1.0

    def detuning(self, frequency_mhz):
        """``wings`` stretches the passband far from its peak only: no law of the package has that."""
        d = np.pi * WEAK_FWHM * (np.asarray(frequency_mhz, dtype=float) - self.peak_mhz.n) / self.fwhm_mhz.n
        far = np.minimum(np.abs(d) / 8.0, 1.0)
        return d * (1 - self.lean * np.tanh(d)) / (1 + (self.wings - 1) * far)

    def efficiency(self, frequency_mhz, rf_power_w, *, envelope=False):
        q = np.pi / 2 * np.sqrt(np.maximum(np.asarray(rf_power_w, dtype=float), 0.0) / self.saturation_w.n)
        d = self.detuning(frequency_mhz)
        s = np.maximum(np.hypot(q, d), 1e-12)
        wave = np.sin(s) ** 2
        if envelope:
            wave = np.where(np.abs(d) > np.pi / 2, 1.0, wave)
        return self.top * q**2 * wave / s**2


class LawPassbands:
    def __init__(self, bands):
        self.bands = bands

    @property
    def lines(self):
        return tuple(self.bands)

    def peak_mhz(self, line):
        return self.bands[line].peak_mhz

    def fwhm_mhz(self, line):
        return self.bands[line].fwhm_mhz

    def saturation_power_w(self, line):
        return self.bands[line].saturation_w

    def nominal(self, line, frequency_mhz, rf_power_w):
        return self.bands[line].efficiency(frequency_mhz, rf_power_w)

    def upper(self, line, frequency_mhz, rf_power_w):
        return self.bands[line].efficiency(frequency_mhz, rf_power_w, envelope=True)
