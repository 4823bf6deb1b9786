"""The passband of one line at any frequency and RF power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat, covariance_matrix

from aotf_lab.crystal.passbands.bound import COVER, Spread, highest, least_detuning
from aotf_lab.crystal.passbands.width import half_height_span
from aotf_lab.crystal.scan.model import skewed_detuning
from aotf_lab.errors import FitError, Said
from aotf_lab.estimation import new_cause
from aotf_lab.estimation.evaluate import split
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.domain import as_values, require
from aotf_lab.physics.sidelobes import phase_spread, sinc_square

__all__ = ["BEND", "NULLS", "Passband"]

NULLS, BEND = "places of the nulls", "bend of the efficiency law"
_QUARTER = (np.pi / 2) ** 2
_MAIN_LOBE, _MOST_U = 0.85 * np.pi, 0.25
"""The main lobe counts as known up to this s (rad, with its own u), and where the light is known to this share."""


@dataclass(frozen=True)
class Passband:
    """The light of one line by coupled waves: eta = eta_max q^2 sin^2(s)/s^2, s^2 = q^2 + D^2, q^2 = (pi/2)^2 P/P_sat.

    D = skewed_detuning(``rate_per_mhz`` (f - ``peak_mhz``), ``skew``), so that the passband narrows and its sidelobes
    rise with drive. ``saturation_power_w`` (true W) and ``peak_efficiency`` are None where no drive was measured.
    ``remarks`` say which of these do not come from the line's own readings.
    """

    line: str
    wavelength_nm: float | None
    peak_mhz: UFloat
    rate_per_mhz: UFloat
    skew: UFloat
    saturation_power_w: UFloat | None
    peak_efficiency: UFloat | None
    remarks: tuple[str, ...] = field(default=())

    @cached_property
    def fwhm_mhz(self) -> UFloat:
        """Full width at half of the peak (MHz) in weak drive."""
        return half_height_span(0.0, self.skew.n) / self.rate_per_mhz

    def fwhm_at(self, rf_power_w: float) -> UFloat:
        """Return the full width at half of the peak (MHz) at an RF power (W) below four times the saturation power."""
        drive = rf_power_w / self.drive[0].n
        return half_height_span(drive, self.skew.n) / self.rate_per_mhz

    def nominal(self, frequency_mhz: Any, rf_power_w: Any) -> FloatArray:
        """Return the efficiency (0 to 1) at frequency (MHz) and RF power (true W); plain numbers, they broadcast."""
        saturation, peak = self.drive
        values = self._values[:3]
        relative = self._relative(as_values(frequency_mhz), self._ratio(rf_power_w, saturation.n), values)
        return np.asarray(peak.n * relative)

    def upper(self, frequency_mhz: Any, rf_power_w: Any) -> FloatArray:
        """Return the most light that is possible: no null counted on, all unknowns two u off (see ``bound``)."""
        saturation, peak = self.drive
        v, u = self._values, self._u
        spread = Spread((v[0], u[0]), (v[1], u[1]), (v[2], u[2]))
        ratio = self._ratio(rf_power_w, saturation.n)
        detuning = least_detuning(as_values(frequency_mhz), spread)
        most = min(peak.n + COVER * peak.s, 1.0)
        return np.asarray(most * highest(detuning, ratio, saturation.s / saturation.n))

    def efficiency(self, frequency_mhz: Any, rf_power_w: Any) -> Any:
        """Return the efficiency with its uncertainty: a ``ufloat`` for scalars, else an object array (n,).

        Frequency and power may be ``ufloat``s. What a law linear in all unknowns misses is carried by independent
        causes: near full drive tagged ``BEND``, and beyond the main lobe, where a null may lie anywhere, ``NULLS``; ask
        ``upper`` there. The bend is one for a line; a null at one frequency tells nothing of that at another.
        """
        f, f_elements, f_scalar = split(frequency_mhz)
        power, p_elements, p_scalar = split(rf_power_w)
        f, power = np.broadcast_arrays(f, power)
        gradient = self._gradient(f, power)
        nominal, nulls = self.nominal(f, power), self._nulls(f, power)
        bend = self._bend(f, power, [_one(p_elements, i) for i in range(len(f))])
        deviations = [p - p.n for p in self._parameters]
        result = np.empty(len(f), dtype=object)
        for i in range(len(f)):
            value = float(nominal[i]) + sum(float(g) * d for g, d in zip(gradient[:5, i], deviations, strict=True))
            value = _moved(value, gradient[5, i], _one(f_elements, i))
            value = _moved(value, gradient[6, i], _one(p_elements, i))
            value = value + float(bend[i]) * self._bent if bend[i] != 0 else value
            result[i] = value + new_cause(NULLS, float(nulls[i])) if nulls[i] > 0 else value
        return result[0] if f_scalar and p_scalar else result

    def in_main_lobe(self, frequency_mhz: float, rf_power_w: float) -> bool:
        """Return whether a number may be stated there: within the main lobe, and the light known to a quarter."""
        f, power = np.array([frequency_mhz]), np.array([rf_power_w])
        s, u_s = self._phase(f, power)
        value = self.efficiency(frequency_mhz, rf_power_w)
        return bool(s[0] + COVER * u_s[0] < max(_MAIN_LOBE, self._in_tune(rf_power_w))) and value.s < _MOST_U * value.n

    @cached_property
    def _parameters(self) -> tuple[UFloat, ...]:
        return (self.peak_mhz, self.rate_per_mhz, self.skew, *self.drive)

    @cached_property
    def _values(self) -> tuple[float, ...]:
        return tuple(float(p.n) for p in self._parameters)

    @cached_property
    def _u(self) -> tuple[float, ...]:
        return tuple(float(p.s) for p in self._parameters)

    @cached_property
    def _bent(self) -> UFloat:
        return new_cause(f"{BEND} of line {self.line}" if self.line else BEND, 1.0)

    @cached_property
    def _shape_covariance(self) -> FloatArray:
        return np.array(covariance_matrix(list(self._parameters[:3])), dtype=float)

    @property
    def drive(self) -> tuple[UFloat, UFloat]:
        """Saturation power (true W) and peak efficiency; raises ``FitError`` where they are not known."""
        if self.saturation_power_w is None or self.peak_efficiency is None:
            raise FitError(
                f"the light of line {self.line} is not known: no efficiency against RF power",
                found=Said("; ".join(self.remarks) or "no saturation power"), allowed="a saturation power",
                cure="measure the efficiency of one line or more, with their wavelengths",
            )  # fmt: skip
        return self.saturation_power_w, self.peak_efficiency

    @staticmethod
    def _ratio(rf_power_w: Any, saturation_w: float) -> FloatArray:
        power = as_values(rf_power_w)
        require(power >= 0, power, "RF power", allowed="0 W or more", cure="give true watts at the crystal")
        return power / saturation_w

    def _in_tune(self, rf_power_w: float) -> float:
        return float(np.sqrt(_QUARTER * rf_power_w / self._values[3])) + 1e-9

    @staticmethod
    def _relative(f: FloatArray, ratio: FloatArray, values: Sequence[float]) -> FloatArray:
        peak, rate, skew = values
        square = _QUARTER * ratio
        return square * sinc_square(np.sqrt(square + skewed_detuning(rate * (f - peak), skew) ** 2))

    def _gradient(self, f: FloatArray, power: FloatArray) -> FloatArray:
        """Return the derivatives (7, n): by peak, rate, skew, P_sat, eta_max, frequency and power."""
        peak, rate, skew, saturation, top = self._values
        ratio = power / saturation
        steps = (1e-5 / rate, 1e-6 * rate, 1e-6)
        rows = []
        for k, step in enumerate(steps):
            ends = [[v + sign * step * (i == k) for i, v in enumerate((peak, rate, skew))] for sign in (1, -1)]
            rows.append(top * (self._relative(f, ratio, ends[0]) - self._relative(f, ratio, ends[1])) / (2 * step))
        more = ratio + 1e-6 * np.maximum(ratio, 1e-3)
        less = np.maximum(2 * ratio - more, 0.0)
        values = (peak, rate, skew)
        by_ratio = top * (self._relative(f, more, values) - self._relative(f, less, values)) / (more - less)
        rows += [-by_ratio * ratio / saturation, self._relative(f, ratio, values), -rows[0], by_ratio / saturation]
        return np.array(rows)

    def _phase(self, f: FloatArray, power: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return s (n,) and its standard uncertainty by peak, rate and lean."""
        peak, rate, skew = self._values[:3]
        away = rate * (f - peak)
        detuning = skewed_detuning(away, skew)
        s = np.sqrt(_QUARTER * power / self._values[3] + detuning**2)
        tanh = np.tanh(away)
        by_away = 1.0 - skew * (tanh + away * (1.0 - tanh**2))
        gradient = np.array([-rate * by_away, (f - peak) * by_away, -away * tanh])
        variance = np.einsum("in,ij,jn->n", gradient, self._shape_covariance, gradient)
        return s, np.sqrt(np.maximum(variance, 0.0)) * np.abs(detuning) / np.maximum(s, 1e-9)

    def _nulls(self, f: FloatArray, power: FloatArray) -> FloatArray:
        """Return what a linear law misses (n,) of the spread of the light beyond the main lobe."""
        s, u_s = self._phase(f, power)
        linear = np.abs(np.sin(2 * s)) * u_s
        missed = np.sqrt(np.maximum(phase_spread(s, u_s) ** 2 - np.minimum(linear, 0.5) ** 2, 0.0))
        scale = self._values[4] * _QUARTER * power / self._values[3] / np.maximum(s, 1.0) ** 2
        return np.asarray(np.where(s > np.pi / 2, scale * missed, 0.0))

    def _bend(self, f: FloatArray, power: FloatArray, elements: list[Any]) -> FloatArray:
        """Return the root mean square (n,), signed, of the light's quadratic part in P / P_sat: 3^(1/2) at one u."""
        saturation, values = self.drive[0], self._values[:3]
        u = np.array([(e / saturation).s if isinstance(e, UFloat) else saturation.s * p / saturation.n**2
                      for e, p in zip(elements, power, strict=True)])  # fmt: skip
        ratio = power / saturation.n
        ends = [self._relative(f, np.maximum(ratio + sign * u, 0.0), values) for sign in (1, -1)]
        return np.asarray(self._values[4] * 3**0.5 * ((ends[0] + ends[1]) / 2 - self._relative(f, ratio, values)))


def _one(elements: list[Any], i: int) -> Any:
    return elements[i] if len(elements) > 1 else elements[0]


def _moved(value: UFloat, slope: float, element: Any) -> UFloat:
    return value + float(slope) * (element - element.n) if isinstance(element, UFloat) else value
