"""A kept calibration of the oscillator: drive voltage to frequency and back, months after the fit."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline

from aotf_lab.errors import AotfLabError, OutOfRangeError, Said
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.kept_curve import asked_back, asked_forward
from aotf_lab.record.stored import SHARED, CauseBook

__all__ = ["OscillatorRecord"]

_END = 3.0
"""How many standard uncertainties beyond the end of the range a frequency still means the end."""

_PLACES = 400


@dataclass(frozen=True, eq=False, kw_only=True)
class OscillatorRecord(Calibration):
    """The kept curve f(V), made by ``oscillator_record``.

    ``drive_v`` (n,) are knots as the bench's own voltmeter shows them, ``numbers`` the true frequency (MHz) at each,
    joined by a cubic spline. ``u_reading_mhz`` is the scatter (k = 1) of one new reading about the curve.
    ``coverage_factor`` times u is the 95 % interval. A ``book`` of causes says with what answers are correlated.

    ``u_gain`` (relative) and ``u_offset_v`` (V) are the errors (k = 1) of that voltmeter itself, None where they were
    not kept; ``voltmeter`` is its name where a bench has several.
    """

    drive_v: FloatArray = field(repr=False)
    u_reading_mhz: float
    coverage_factor: float = 1.959963984540054
    u_gain: float | None = None
    u_offset_v: float | None = None
    voltmeter: str = ""

    @property
    def part(self) -> str:
        """What was calibrated, in a word."""
        return "oscillator"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        (low_v, high_v), (low, high) = self.range_v, self.range_mhz
        u_khz = 1e3 * self._u()
        return (
            ("curve", f"{low:.4f} to {high:.4f} MHz over {low_v:.4g} to {high_v:.4g} V, {len(self.drive_v)} knots"),
            ("u(f)", f"{u_khz.min():.2g} to {u_khz.max():.2g} kHz"),
            ("scatter of a reading", f"{1e3 * self.u_reading_mhz:.2g} kHz"),
            *self._voltmeter_rows(),
            *super().rows(),
        )

    def _voltmeter_rows(self) -> tuple[tuple[str, str], ...]:
        if self.u_gain is None or self.u_offset_v is None:
            return ()
        name = f"voltmeter {self.voltmeter}".rstrip()
        return ((f"u of {name}", f"gain {100 * self.u_gain:.3g} %, offset {1e3 * self.u_offset_v:.3g} mV"),)

    def _u(self) -> FloatArray:
        """Return u of each knot (n,) in MHz."""
        return np.asarray(np.sqrt(np.clip(np.diag(self.numbers.covariance()), 0.0, None)))

    @cached_property
    def _spline(self) -> CubicSpline:
        return CubicSpline(self.drive_v, np.eye(len(self.drive_v)))

    @property
    def range_v(self) -> tuple[float, float]:
        """The lowest and highest voltage measured (V)."""
        return float(self.drive_v[0]), float(self.drive_v[-1])

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The frequencies at the ends of ``range_v`` (MHz)."""
        return float(self.numbers.values[0]), float(self.numbers.values[-1])

    def weights(self, drive_v: Any) -> FloatArray:
        """Return the matrix (m, n) that makes the curve at ``drive_v`` (m,) out of the numbers.

        Raises ``OutOfRangeError`` outside ``range_v``.
        """
        nominal = split(drive_v)[0]
        require_inside("drive voltage", nominal, *self.range_v, "V")
        return np.asarray(self._spline(nominal))

    def sensitivity(self, drive_v: Any) -> Any:
        """Return the slope df/dV (MHz/V) at ``drive_v`` (V), scalar or array (m,); plain numbers.

        Raises ``OutOfRangeError`` outside ``range_v``.
        """
        nominal, _, scalar = split(drive_v)
        require_inside("drive voltage", nominal, *self.range_v, "V")
        slopes = self._slope(nominal)
        return float(slopes[0]) if scalar else slopes

    def frequency(self, drive_v: Any, book: CauseBook | None = None) -> Any:
        """Return the true frequency (MHz) at ``drive_v`` (V): a ``ufloat`` for a scalar, else an array (m,) of them.

        Raises ``OutOfRangeError`` outside ``range_v``.
        """
        nominal, elements, scalar = split(drive_v)
        values = self.numbers.combine(self.weights(nominal), book or SHARED)
        return asked_forward(values, self._slope(nominal), elements, scalar)

    def drive(self, frequency_mhz: Any, book: CauseBook | None = None) -> Any:
        """Return the voltage (V), as the bench's voltmeter shows it, for a true ``frequency_mhz``; shapes as above.

        A frequency beyond an end by up to three of its standard uncertainties gives that end. Raises
        ``OutOfRangeError`` further out.
        """
        nominal, elements, scalar = split(frequency_mhz)
        places = self._solved(nominal)
        values = self.numbers.combine(self._spline(places), book or SHARED)
        return asked_back(places, values, self._slope(places), elements, scalar)

    def drive_true(self, frequency_mhz: Any, book: CauseBook | None = None) -> Any:
        """Return the true voltage (V) for a true ``frequency_mhz``: with the errors of the bench's voltmeter.

        Use it when another meter or a generator sets the voltage. All voltages share that voltmeter's gain and
        offset. Shapes and ``OutOfRangeError`` as ``drive``; raises ``AotfLabError`` where these errors were not kept.
        """
        if self.u_gain is None or self.u_offset_v is None:
            raise AotfLabError(
                "what another voltmeter shows is not known from this calibration",
                where=f"{self.name}, {self.measured}", found=Said("no gain and offset of the voltmeter"),
                allowed="u_gain and u_offset_v", cure="keep its session anew, or set it by the bench's own voltmeter",
            )  # fmt: skip
        variable, at = (book or SHARED).variable, f"@{self.voltmeter}" if self.voltmeter else ""
        gain = 1 + self.u_gain * variable(f"voltmeter gain{at}")
        return self.drive(frequency_mhz, book) * gain + self.u_offset_v * variable(f"voltmeter offset{at}")

    def prediction_u_mhz(self, drive_v: Any) -> Any:
        """Return the standard uncertainty (MHz) of the next reading at ``drive_v`` (V): of the curve and its scatter.

        Raises ``OutOfRangeError`` outside ``range_v``.
        """
        weights = self.weights(drive_v)
        variance = np.einsum("ij,jk,ik->i", weights, self.numbers.covariance(), weights)
        u = np.sqrt(np.clip(variance, 0.0, None) + self.u_reading_mhz**2)
        return float(u[0]) if np.ndim(drive_v) == 0 else u

    def _slope(self, nominal: FloatArray) -> FloatArray:
        return np.asarray(self._spline(nominal, 1) @ self.numbers.values)

    def _solved(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the voltages (m,) where the curve takes ``frequency_mhz`` (m,)."""
        low, high = self.range_mhz
        u = self._u()
        outside = ~((frequency_mhz >= low - _END * u[0]) & (frequency_mhz <= high + _END * u[-1]))
        if outside.any():
            raise OutOfRangeError("frequency", float(frequency_mhz[outside][0]), low, high, "MHz")
        grid = np.linspace(*self.range_v, _PLACES)
        v = np.interp(frequency_mhz, self._spline(grid) @ self.numbers.values, grid)
        for _ in range(4):
            v = np.clip(v - (self._spline(v) @ self.numbers.values - frequency_mhz) / self._slope(v), *self.range_v)
        return v
