"""The oscillator's curve: drive voltage to frequency and back, with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any, Literal

import numpy as np
from uncertainties import UFloat

from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit
from aotf_lab.estimation.smooth.numbers import LinearNumbers, as_array
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings

__all__ = ["Side", "Vco"]

Side = Literal["up", "down"]
"""From which side a voltage was set: rising to it ("up") or falling to it ("down")."""

_SIDES = {"up": 0.5, "down": -0.5}
_END = 3.0
_PLACES = 400


@dataclass(frozen=True)
class Vco:
    """The curve f(V) of an oscillator, made by ``fit_vco``.

    Voltages are as the voltmeter of the ``readings`` shows them; ``drive_true`` and
    ``frequency_at_true`` add that meter's own errors, for a voltage set by something else.
    Frequencies are true: the counter's time base is in them as one shared error. Scalars give a
    ``uncertainties`` number, arrays an object array; arguments may be such numbers themselves and
    keep their correlation. Where up and down differed, the curve is the mean of both and half the
    difference is a cause in its uncertainty, unless ``side`` says from where a voltage is set.
    """

    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    curve: SmoothFit = field(repr=False)
    numbers: LinearNumbers = field(repr=False)
    two_sided: bool
    reversal_v: UFloat | None
    u_count_mhz: float
    u_setting_v: float

    @property
    def range_v(self) -> tuple[float, float]:
        """The lowest and highest voltage measured (V)."""
        return self.curve.low, self.curve.high

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The frequencies at the ends of ``range_v`` (MHz)."""
        low, high = self.curve.curve(np.array(self.range_v)).tolist()
        return low, high

    @property
    def backlash_v(self) -> UFloat | None:
        """By how much the oscillator saw a higher voltage on the way up than on the way down (V), or None."""
        if not self.two_sided:
            return None
        weights = np.zeros((1, len(self.numbers.nominal)))
        weights[0, len(self.curve.nodes)] = 1.0
        return self.numbers.combine(weights)[0]

    def frequency(self, drive_v: Any, side: Side | None = None) -> Any:
        """Return the frequency (MHz) at ``drive_v`` (V), scalar or array (n,).

        Raises ``OutOfRangeError`` outside the measured range.
        """
        nominal, elements, scalar = split(drive_v)
        require_inside("drive voltage", nominal, *self.range_v, "V")
        slopes = self.curve.slope(nominal)
        results = self._indicated(nominal, slopes, side)
        for k, element in enumerate(elements):
            if isinstance(element, UFloat):
                results[k] = results[k] + float(slopes[k]) * (element - element.n)
            results[k] = self._true(results[k])
        return results[0] if scalar else as_array(results)

    def drive(self, frequency_mhz: Any, side: Side | None = None) -> Any:
        """Return the voltage (V), as the voltmeter of the readings shows it, for ``frequency_mhz`` (MHz).

        An end of the range is known only to its own uncertainty: a frequency within three of them
        outside gives the end. Raises ``OutOfRangeError`` beyond.
        """
        nominal, elements, scalar = split(frequency_mhz)
        places = self._solved(nominal, _SIDES[side] if side and self.two_sided else 0.0)
        slopes = self.curve.slope(places)
        curve = self._indicated(places, slopes, side)
        results = []
        for k, element in enumerate(elements):
            there = self._true(curve[k])
            asked = element - element.n if isinstance(element, UFloat) else 0.0
            results.append(float(places[k]) + (asked - (there - there.n)) / float(slopes[k]))
        return results[0] if scalar else as_array(results)

    def sensitivity(self, drive_v: Any) -> Any:
        """Return the slope df/dV (MHz/V) at ``drive_v`` (V).

        Raises ``OutOfRangeError`` outside the measured range.
        """
        nominal, elements, scalar = split(drive_v)
        require_inside("drive voltage", nominal, *self.range_v, "V")
        weights = self._padded(self.curve.slope_rows(nominal))
        step = 1e-4 * (self.curve.high - self.curve.low)
        bends = (self.curve.slope(nominal + step) - self.curve.slope(nominal - step)) / (2 * step)
        results = [self._true(value) for value in self.numbers.combine(weights)]
        for k, element in enumerate(elements):
            if isinstance(element, UFloat):
                results[k] = results[k] + float(bends[k]) * (element - element.n)
        return results[0] if scalar else as_array(results)

    def drive_true(self, frequency_mhz: Any, side: Side | None = None) -> Any:
        """Return the true voltage (V) for ``frequency_mhz``: with the gain and offset errors of the voltmeter.

        Use it when another meter or a generator sets the voltage. Raises as ``drive``.
        """
        shown = self.drive(frequency_mhz, side)
        if np.ndim(shown) == 0:
            return self._volts(shown)
        return as_array([self._volts(v) for v in shown])

    def frequency_at_true(self, drive_v: Any, side: Side | None = None) -> Any:
        """Return the frequency (MHz) at a true voltage ``drive_v`` (V), not one shown by the readings' voltmeter.

        Raises as ``frequency``.
        """
        nominal, elements, scalar = split(drive_v)
        shown = as_array([e - (self._volts(v) - v) for e, v in zip(elements, nominal.tolist(), strict=True)])
        result = self.frequency(shown, side)
        return result[0] if scalar else result

    def band(self, drive_v: FloatArray, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Return the confidence band (low, high) of the curve at ``drive_v`` (n,), in MHz."""
        return self._band(np.asarray(drive_v, dtype=float), confidence, 0.0)

    def prediction_band(self, drive_v: FloatArray, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Return the band (low, high) of the next single reading at ``drive_v`` (n,), in MHz."""
        return self._band(np.asarray(drive_v, dtype=float), confidence, self.fit.birge)

    def plot(self, ax: Any = None) -> Any:
        """Draw the curve, both bands and the readings on ``ax``, or on a new figure; return the Axes."""
        from aotf_lab.drawing import plot_vco

        grid = np.linspace(*self.range_v, 200)
        table = self.readings.table
        direction = table["direction"].astype(str).tolist() if "direction" in table.columns else None
        return plot_vco(
            grid,
            self.curve.curve(grid),
            self.band(grid),
            self.prediction_band(grid),
            table["drive_v"].to_numpy(dtype=float),
            table["frequency_mhz"].to_numpy(dtype=float),
            direction,
            ax,
        )

    def _indicated(self, nominal: FloatArray, slopes: FloatArray, side: Side | None) -> list[UFloat]:
        """Return what the counter shows at ``nominal`` (n,), with the side of approach."""
        weights = self._padded(self.curve.rows(nominal))
        if self.two_sided and side:
            weights[:, len(self.curve.nodes)] = _SIDES[side] * slopes
        results = self.numbers.combine(weights)
        if self.reversal_v is not None and self.reversal_v.s > 0 and not side:
            results = [r + float(s) * self.reversal_v for r, s in zip(results, slopes, strict=True)]
        return results

    def _padded(self, rows: FloatArray) -> FloatArray:
        """Return rows over the nodes (n, m) as rows over all numbers, terms at their reference."""
        weights = np.zeros((len(rows), len(self.numbers.nominal)))
        weights[:, : rows.shape[1]] = rows
        return weights

    def _true(self, value: UFloat) -> UFloat:
        for error in self.readings.common_errors("frequency_mhz"):
            value = error.applied_to(value)
        return value

    def _volts(self, value: Any) -> Any:
        for error in self.readings.common_errors("drive_v"):
            value = error.applied_to(value)
        return value

    def _solved(self, frequency_mhz: FloatArray, side: float) -> FloatArray:
        """Return the voltages (n,) where the curve takes ``frequency_mhz`` (n,)."""
        grid = np.linspace(*self.range_v, _PLACES)
        shift = side * float(self.numbers.nominal[len(self.curve.nodes)]) if side else 0.0
        curve = self.curve.curve(grid) + shift * self.curve.slope(grid)
        ends = grid[[0, -1]]
        u = [f.s for f in self._indicated(ends, self.curve.slope(ends), None)]
        low, high = float(curve[0]), float(curve[-1])
        outside = ~((frequency_mhz >= low - _END * u[0]) & (frequency_mhz <= high + _END * u[1]))
        if outside.any():
            raise OutOfRangeError("frequency", float(frequency_mhz[outside][0]), low, high, "MHz")
        v = np.interp(frequency_mhz, curve, grid)
        for _ in range(4):
            slope = self.curve.slope(v)
            v = np.clip(v - (self.curve.curve(v) + shift * slope - frequency_mhz) / slope, *self.range_v)
        return v

    def _band(self, drive_v: FloatArray, confidence: float, noise: float) -> tuple[FloatArray, FloatArray]:
        frequency = self.frequency(drive_v)
        reading = noise * np.hypot(self.u_count_mhz, self.curve.slope(drive_v) * self.u_setting_v)
        centre = np.array([f.n for f in frequency])
        half = self.fit.coverage_factor(confidence) * np.hypot([f.s for f in frequency], reading)
        return centre - half, centre + half

    def __str__(self) -> str:
        (low_v, high_v), (low, high) = self.range_v, self.range_mhz
        places = np.linspace(low_v, high_v, 41)
        u_khz = [1e3 * f.s for f in self.frequency(places)]
        slopes = self.curve.slope(places)
        lines = [
            f"Oscillator, {len(self.curve.residuals)} readings: {low:.4f} to {high:.4f} MHz over "
            f"{low_v:.4g} to {high_v:.4g} V",
            f"sensitivity {slopes.min():.3g} to {slopes.max():.3g} MHz/V",
            f"u(f) = {min(u_khz):.2g} to {max(u_khz):.2g} kHz",
            f"chi2/dof = {self.fit.chi2:.1f}/{self.fit.dof:.1f}",
        ]
        if self.backlash_v is not None:
            lines.append(f"up/down difference = {1e3 * self.backlash_v:.2uS} mV")
        if self.fit.birge > 1:
            lines.append(f"uncertainties scaled up by {self.fit.birge:.2f}")
        return text_lines(lines + [str(c) for c in self.fit.failed])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"
