"""Efficiency against RF power as something to ask: both directions, with what may be known of the peak."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from uncertainties import UFloat, covariance_matrix

from aotf_lab.crystal.efficiency.law import drive_law, law_slopes, power_for, saturation_power
from aotf_lab.errors import FitError, OutOfRangeError, Said
from aotf_lab.estimation import CommonError
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.problem import FloatArray

__all__ = ["FULL", "FULL_REACH", "INTERVAL", "SLOPE_ONLY", "SLOPE_REACH", "EfficiencyCurve", "level_of"]

SLOPE_ONLY, INTERVAL, FULL = "slope only", "asymmetric interval", "full"
SLOPE_REACH, FULL_REACH = 0.4, 0.95
"""Largest drive over P_sat from which the peak may be stated at all, and from which plainly."""

_CLEARANCE = 2.0
"""How many standard uncertainties a wanted efficiency must stay below the peak to mean one power."""


def level_of(reach_low: float) -> str:
    """Return the level of honesty for a reach (largest drive over P_sat) that the readings prove.

    >>> level_of(0.3), level_of(0.7), level_of(1.2)
    ('slope only', 'asymmetric interval', 'full')
    """
    if reach_low < SLOPE_REACH:
        return SLOPE_ONLY
    return INTERVAL if reach_low < FULL_REACH else FULL


@dataclass(frozen=True)
class EfficiencyCurve:
    """eta(P) = eta_max sin^2((pi/2) sqrt(P / P_sat)) of one line, in true watts.

    ``slope_per_w`` is the initial slope (1/W); ``curvature`` is 1 / eta_max as the fit found it, also
    where ``level`` says that it may not be used. ``power_scale`` is true over indicated power, made
    of the shared errors ``common_errors`` of the bench's scope. ``range_w`` are the least and the
    largest power of the readings' range, nominal. ``level`` is "slope only", "asymmetric interval"
    or "full", by how far the drive is proven to have reached (see ``reach``).
    """

    line: str
    wavelength_nm: float | None
    slope_per_w: UFloat
    curvature: UFloat = field(repr=False)
    power_scale: UFloat | float = field(repr=False)
    common_errors: tuple[CommonError, ...] = field(repr=False)
    range_w: tuple[float, float]
    level: str

    @property
    def saturation_power_w(self) -> UFloat:
        """Power of full diffraction in true watts; raises ``FitError`` at level "slope only"."""
        self._require_peak("saturation power")
        return saturation_power(self.slope_per_w, self.curvature)

    @property
    def saturation_power_indicated_w(self) -> UFloat:
        """The same as the bench's own scope indicates it: without the shared errors of its power scale."""
        return self.saturation_power_w / self.power_scale

    @property
    def peak_efficiency(self) -> UFloat:
        """Efficiency at full diffraction, eta_max; raises ``FitError`` at level "slope only"."""
        self._require_peak("peak efficiency")
        return 1 / self.curvature

    @property
    def reach(self) -> UFloat:
        """Largest drive over saturation power (the power scale cancels), as estimated."""
        return self.range_w[1] * self.power_scale / saturation_power(self.slope_per_w, self.curvature)

    @property
    def most_light_w(self) -> float:
        """Indicated power of most light within the range: the saturation power, or the range's end below it."""
        return float(min(self.range_w[1], self.range_w[1] / self.reach.n))

    def efficiency(self, rf_power_w: Any) -> Any:
        """Return the efficiency at ``rf_power_w`` (scalar or array; W).

        A plain number means true watts, so the power scale's error enters. A ``ufloat`` that was made
        with the same scope (``CommonError.applied_to``) keeps its correlation, and the scale cancels.
        Raises ``OutOfRangeError`` outside ``range_w``.
        """
        nominal, elements, scalar = split(rf_power_w)
        require_inside("RF power", nominal, *self.range_w, "W")
        values = drive_law(nominal, self.slope_per_w.n, self.curvature.n)
        parts = law_slopes(nominal, self.slope_per_w.n, self.curvature.n)
        results = np.empty(len(nominal), dtype=object)
        for i, (element, by_power, by_slope, by_curvature) in enumerate(zip(elements, *parts, strict=True)):
            results[i] = float(values[i]) + self._shift(by_slope, by_curvature)
            if isinstance(element, UFloat):
                results[i] = results[i] + float(by_power) * (element - element.n)
        return results[0] if scalar else results

    def rf_power(self, efficiency: Any) -> Any:
        """Return the RF power (true W) that gives ``efficiency`` (scalar or array) below the peak.

        Only the rising branch: more power than ``saturation_power_w`` gives less light. Raises
        ``OutOfRangeError`` for an efficiency that the measured range does not reach, or that lies
        too close to the peak to mean one power.
        """
        nominal, elements, scalar = split(efficiency)
        slope, curvature = self.slope_per_w.n, self.curvature.n
        top_w = self.most_light_w
        top = float(drive_law(np.array([top_w]), slope, curvature)[0])
        require_inside("efficiency", nominal, 0.0, top, "")
        powers = power_for(np.minimum(nominal, top), slope, curvature)
        clear = 1 / curvature - _CLEARANCE * self.u_efficiency(powers)
        close = (nominal > clear) & (powers > 0.5 * saturation_power(slope, curvature))
        if close.any():
            i = int(np.argmax(close))
            raise OutOfRangeError("efficiency", float(nominal[i]), 0.0, float(clear[i]), "")
        parts = law_slopes(powers, slope, curvature)
        results = np.empty(len(nominal), dtype=object)
        for i, (element, by_power, by_slope, by_curvature) in enumerate(zip(elements, *parts, strict=True)):
            gap = -self._shift(by_slope, by_curvature)
            if isinstance(element, UFloat):
                gap = gap + (element - element.n)
            results[i] = float(powers[i]) + gap / float(by_power)
        return results[0] if scalar else results

    def u_efficiency(self, rf_power_w: FloatArray) -> FloatArray:
        """Return the standard uncertainty (n,) of the efficiency at true ``rf_power_w`` (n,): the band's half width."""
        covariance = np.array(covariance_matrix([self.slope_per_w, self.curvature]))
        gradient = np.stack(law_slopes(rf_power_w, self.slope_per_w.n, self.curvature.n)[1:], axis=-1)
        return np.asarray(np.sqrt(np.clip(np.einsum("ij,jk,ik->i", gradient, covariance, gradient), 0.0, None)))

    def _shift(self, by_slope: float, by_curvature: float) -> UFloat:
        slope, curvature = self.slope_per_w, self.curvature
        return float(by_slope) * (slope - slope.n) + float(by_curvature) * (curvature - curvature.n)

    def _require_peak(self, what: str) -> None:
        if self.level == SLOPE_ONLY:
            name = f" of line {self.line}" if self.line else ""
            raise FitError(
                f"the {what}{name} is not known: the drive was too low to see the curve bend",
                found=Said(f"a largest drive of {self.range_w[1]:.3g} W, {self.reach:.1u} of the saturation power"),
                allowed=f"at least {SLOPE_REACH:g} of it, proven at 95 %",
                cure="drive harder within the crystal's rating, or fit this line with others that were",
            )
