"""The curve of each line of one crystal, measured or not, out of few numbers that all lines share."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.crystal.efficiency.assumed import PEAK_SPREAD
from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY, EfficiencyCurve
from aotf_lab.crystal.efficiency.law import QUARTER_PERIOD
from aotf_lab.crystal.efficiency.shared import REFERENCE_NM
from aotf_lab.errors import FitError, OutOfRangeError, ReadingsError, Said
from aotf_lab.estimation import CommonError

__all__ = ["LineCurves"]

_BEYOND = 0.1
"""How far beyond the measured wavelengths, as a share, the law is still used."""

_SAME_LINE_NM = 0.5
_PEAK_SPREAD_WEIGHT = 2
"""How many measured differences of peak efficiency ``PEAK_SPREAD`` is worth (common practice, no source)."""


@dataclass(frozen=True)
class LineCurves:
    """What is known of the lines' efficiency; see ``EfficiencyLines``.

    ``driven_w`` is the largest indicated power of each measured line, ``wavelengths_nm`` (vacuum) of those where it is
    known. P_sat is ``at_reference_w`` (true W) times (wavelength / 589 nm)^``exponent``; ``peaks`` are the measured
    lines' peak efficiencies, ``reach`` the furthest drive over P_sat. ``alone`` are curves of single lines: they stand
    where no line's drive showed a bend, or a wavelength is unknown. ``power_scale`` is true over indicated power.
    """

    driven_w: Mapping[str, float]
    wavelengths_nm: Mapping[str, float]
    level: str
    reach: UFloat
    at_reference_w: UFloat
    exponent: UFloat
    peaks: Mapping[str, UFloat]
    alone: Mapping[str, EfficiencyCurve]
    power_scale: UFloat | float
    common_errors: tuple[CommonError, ...]
    _guesses: dict[float, UFloat] = field(default_factory=dict, init=False, repr=False, compare=False)

    def saturation_power_w(self, wavelength_nm: float) -> UFloat:
        """Return P_sat (true W) at ``wavelength_nm``; raises as ``EfficiencyLines.saturation_power_w``."""
        self._require_level()
        self._require_wavelength(wavelength_nm)
        return self._saturation_power_w(wavelength_nm)

    def line(self, name: str) -> EfficiencyCurve:
        """Return the curve of a measured line; as ``EfficiencyLines.line``."""
        if name not in self.driven_w:
            raise ReadingsError(
                "no such line", found=name, allowed=", ".join(self.driven_w),
                cure="use at(wavelength_nm) for other lines",
            )  # fmt: skip
        if self.level == SLOPE_ONLY or name not in self.wavelengths_nm:
            return self.alone[name]
        return self._curve(name, self.wavelengths_nm[name], self.peaks[name])

    def at(self, wavelength_nm: float) -> EfficiencyCurve:
        """Return the curve at ``wavelength_nm`` (vacuum), measured there or not; as ``EfficiencyLines.at``."""
        for name, measured in self.wavelengths_nm.items():
            if abs(measured - wavelength_nm) <= _SAME_LINE_NM:
                return self.line(name)
        self._require_level()
        self._require_wavelength(wavelength_nm)
        near = min(self._guesses, key=lambda nm: abs(nm - wavelength_nm), default=np.inf)
        if not abs(near - wavelength_nm) <= _SAME_LINE_NM:
            near = wavelength_nm
            self._guesses[near] = self._guessed_peak()
        return self._curve("", wavelength_nm, self._guesses[near])

    def _saturation_power_w(self, wavelength_nm: float) -> UFloat:
        return self.at_reference_w * (wavelength_nm / REFERENCE_NM) ** self.exponent

    def _curve(self, name: str, wavelength_nm: float, peak: UFloat) -> EfficiencyCurve:
        power = self._saturation_power_w(wavelength_nm)
        return EfficiencyCurve(
            name, wavelength_nm, QUARTER_PERIOD * peak / power, 1 / peak, self.power_scale, self.common_errors,
            (0.0, float(self.reach.n * power.n)), self.level,
        )  # fmt: skip

    def _guessed_peak(self) -> UFloat:
        peaks = list(self.peaks.values())
        mean = sum(peaks[1:], peaks[0]) / len(peaks)
        squares = sum((p.n - mean.n) ** 2 for p in peaks) + _PEAK_SPREAD_WEIGHT * PEAK_SPREAD**2
        spread = np.sqrt(squares / (_PEAK_SPREAD_WEIGHT + len(peaks) - 1) * (1 + 1 / len(peaks)))
        return mean + ufloat(0.0, spread, tag="peak efficiency of a line never measured")

    def _require_level(self) -> None:
        if self.level == SLOPE_ONLY:
            raise FitError(
                "no line's saturation power is known: no drive was high enough to see a curve bend",
                found=Said(f"a reach of {self.reach:.1u} of the saturation power at the most"),
                allowed="at least 0.4 of it, proven at 95 %, on one line",
                cure="drive one line harder within the crystal's rating; the slopes of single lines stand in own",
            )

    def _require_wavelength(self, wavelength_nm: float) -> None:
        low, high = min(self.wavelengths_nm.values()), max(self.wavelengths_nm.values())
        low, high = low * (1 - _BEYOND), high * (1 + _BEYOND)
        if not low <= wavelength_nm <= high:
            raise OutOfRangeError("wavelength", wavelength_nm, low, high, "nm")
