"""A kept calibration of the crystal: wavelength to frequency and back, and what is known of each line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from scipy.interpolate import CubicSpline
from uncertainties import UFloat

from aotf_lab.crystal.efficiency.line_curves import LineCurves
from aotf_lab.errors import AotfLabError, Said
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.calibration import Calibration
from aotf_lab.record.kept_curve import asked_back, asked_forward
from aotf_lab.record.kept_efficiency import KeptEfficiency, line_curves
from aotf_lab.record.stored import SHARED, CauseBook

__all__ = ["LINE_NUMBERS", "CrystalRecord"]

LINE_NUMBERS = {
    "peak": "MHz", "fwhm": "MHz", "light": "", "saturation_w": "W", "slope_per_w": "/W", "wavelength": "nm",
    "signal_mw": "mW", "drive": "",
}  # fmt: skip
"""What may be known of a line -> its unit; kept as "peak E".

``light`` is the peak efficiency (0 to 1), ``slope_per_w`` the initial slope of the efficiency where the drive was too
low for the two before it, ``signal_mw`` the diffracted power at the peak of the scan, ``drive`` its RF
power over that of saturation.
"""

_PLACES = 400
_95 = 1.959963984540054


@dataclass(frozen=True, eq=False, kw_only=True)
class CrystalRecord(Calibration):
    """The kept tuning curve and lines of a crystal, made by ``crystal_record``.

    ``wavelengths_nm`` (n,) are the knots (vacuum, rising); the first n of ``numbers`` are the true frequencies (MHz)
    there, joined by a cubic spline of frequency times wavelength over wavelength^-2; n is 0 where no tuning curve is
    known. Then come, per line, those of ``LINE_NUMBERS`` that are known. ``lines`` maps names to vacuum wavelengths
    (nm), NaN where unknown. ``coverage_factors`` are for 95 %, by line and for "tuning". ``efficiency`` stands beside
    those of ``numbers`` that say how much RF power how much light takes; None where these were not kept.
    """

    wavelengths_nm: FloatArray = field(repr=False)
    lines: Mapping[str, float]
    rated_rf_power_w: float | None = None
    anchored_nm: tuple[float, float] | None = None
    coverage_factors: Mapping[str, float] = field(default_factory=dict, repr=False)
    efficiency: KeptEfficiency | None = field(default=None, repr=False)

    @property
    def part(self) -> str:
        """What was calibrated, in a word."""
        return "crystal"

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        rows = []
        if len(self.wavelengths_nm):
            (short, long), (low, high) = self.range_nm, self.range_mhz
            words = f"{high:.4f} to {low:.4f} MHz over {short:.1f} to {long:.1f} nm, {len(self.wavelengths_nm)} knots"
            rows.append(("tuning curve", words))
        rows += [(f"line {name}", self._in_words(name, nm)) for name, nm in self.lines.items()]
        if self.rated_rf_power_w is not None:
            rows.append(("rated RF power", f"{self.rated_rf_power_w:g} W"))
        return (*rows, *super().rows())

    def _in_words(self, line: str, nm: float) -> str:
        own = CauseBook()
        known = [(what, unit) for what, unit in LINE_NUMBERS.items() if self.known(what, line)]
        said = [f"{what} {self.number(what, line, own):.2uS} {unit}".rstrip() for what, unit in known]
        return ", ".join(said if self.known("wavelength", line) or not np.isfinite(nm) else [f"{nm:.2f} nm", *said])

    @cached_property
    def _spline(self) -> CubicSpline:
        return CubicSpline(_place(self.wavelengths_nm)[::-1], np.diag(self.wavelengths_nm)[::-1])

    @property
    def range_nm(self) -> tuple[float, float]:
        """The shortest and longest wavelength (nm) at which the tuning curve answers."""
        self._require_tuning()
        return float(self.wavelengths_nm[0]), float(self.wavelengths_nm[-1])

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The frequencies (MHz) at the ends of ``range_nm``, the lower first."""
        self._require_tuning()
        ends = self.numbers.values[[0, len(self.wavelengths_nm) - 1]]
        return float(ends.min()), float(ends.max())

    def weights(self, wavelength_nm: Any) -> FloatArray:
        """Return the matrix (m, N) that makes the curve at ``wavelength_nm`` (m,) out of all numbers.

        Raises ``OutOfRangeError`` outside ``range_nm``.
        """
        nominal = split(wavelength_nm)[0]
        require_inside("wavelength", nominal, *self.range_nm, "nm")
        return self._rows(nominal)

    def frequency(self, wavelength_nm: Any, book: CauseBook | None = None) -> Any:
        """Return the frequency (MHz) that passes ``wavelength_nm`` (vacuum): a ``ufloat``, or an array (m,) of them.

        Raises ``OutOfRangeError`` outside ``range_nm``, ``AotfLabError`` without a tuning curve.
        """
        nominal, elements, scalar = split(wavelength_nm)
        values = self.numbers.combine(self.weights(nominal), book or SHARED)
        return asked_forward(values, self._slope(nominal), elements, scalar)

    def wavelength(self, frequency_mhz: Any, book: CauseBook | None = None) -> Any:
        """Return the vacuum wavelength (nm) that ``frequency_mhz`` passes; shapes as above.

        Raises ``OutOfRangeError`` outside ``range_mhz``, ``AotfLabError`` without a tuning curve.
        """
        nominal, elements, scalar = split(frequency_mhz)
        require_inside("frequency", nominal, *self.range_mhz, "MHz")
        grid = np.linspace(*self.range_nm, _PLACES)
        nm = np.interp(nominal, self._curve(grid)[::-1], grid[::-1])
        for _ in range(4):
            nm = np.clip(nm - (self._curve(nm) - nominal) / self._slope(nm), *self.range_nm)
        values = self.numbers.combine(self._rows(nm), book or SHARED)
        return asked_back(nm, values, self._slope(nm), elements, scalar)

    def known(self, what: str, line: str) -> bool:
        """Return whether ``what``, one of ``LINE_NUMBERS``, is known of ``line``."""
        return f"{what} {line}" in self.numbers

    def number(self, what: str, line: str, book: CauseBook | None = None) -> UFloat:
        """Return ``what``, one of ``LINE_NUMBERS``, of ``line``. Raises ``AotfLabError`` where it is not known."""
        if not self.known(what, line):
            own = [n.rpartition(" ")[2] for n in self.numbers.names if n.startswith(f"{what} ")]
            raise AotfLabError(
                f"no {what} of this line in the calibration", where=f"{self.name}, {self.measured}", found=line,
                allowed=", ".join(own) or Said("none"), cure="use a listed line, or measure this one",
            )  # fmt: skip
        return self.numbers.number(f"{what} {line}", book or SHARED)

    def peak(self, line: str, book: CauseBook | None = None) -> UFloat:
        """Return the frequency (MHz) of the line's peak. Raises ``AotfLabError`` where it is not known."""
        return self.number("peak", line, book)

    def fwhm_mhz(self, at: str | float, book: CauseBook | None = None) -> UFloat:
        """Return the passband, full width at half of the peak (MHz), of a line, or near a frequency (MHz).

        Near a frequency it lies between those of the lines beside it, or is the nearest. Raises ``AotfLabError``
        where it is not known.
        """
        if isinstance(at, str):
            return self.number("fwhm", at, book)
        pairs = sorted(
            (self._value("peak", n), n) for n in self.lines if self.known("fwhm", n) and self.known("peak", n)
        )
        if not pairs:
            return self.number("fwhm", f"near {at:g} MHz", book)
        weights = np.zeros((1, len(self.numbers)))
        peaks = [peak for peak, _ in pairs]
        for k, (_, name) in enumerate(pairs):
            weights[0, self.numbers.place(f"fwhm {name}")] = np.interp(at, peaks, np.eye(len(pairs))[k])
        return self.numbers.combine(weights, book or SHARED)[0]

    def light(self, line: str, book: CauseBook | None = None) -> UFloat:
        """Return the line's peak efficiency (0 to 1). Raises ``AotfLabError`` where it is not known."""
        return self.number("light", line, book)

    def saturation_w(self, line: str, book: CauseBook | None = None) -> UFloat:
        """Return the RF power (true W) of most light at the line. Raises ``AotfLabError`` where it is not known."""
        return self.number("saturation_w", line, book)

    def light_curves(self, book: CauseBook | None = None) -> LineCurves | None:
        """Return efficiency against RF power of every line, measured or not; None where it was not kept.

        Asked again with one book they are the same ones: what is assumed of a line never measured is one error.
        """
        kept, causes = self.efficiency, book or SHARED
        if kept is None or kept.missing:
            return None
        return causes.made_of(self, lambda: line_curves(kept, self.numbers, causes))

    def coverage_factor(self, line: str) -> float:
        """Return the factor of u for 95 % at a line with a peak of its own, else that of the tuning curve."""
        return self.coverage_factors.get(line, self.coverage_factors.get("tuning", _95))

    def _value(self, what: str, line: str) -> float:
        return float(self.numbers.values[self.numbers.place(f"{what} {line}")])

    def _rows(self, nm: FloatArray) -> FloatArray:
        rows = np.zeros((len(nm), len(self.numbers)))
        rows[:, : len(self.wavelengths_nm)] = self._spline(_place(nm)) / nm[:, None]
        return rows

    def _curve(self, nm: FloatArray) -> FloatArray:
        return np.asarray(self._spline(_place(nm)) @ self._knots / nm)

    def _slope(self, nm: FloatArray) -> FloatArray:
        by_place = self._spline(_place(nm), 1) @ self._knots
        return np.asarray((-2e6 * by_place / nm**3 - self._curve(nm)) / nm)

    @property
    def _knots(self) -> FloatArray:
        return self.numbers.values[: len(self.wavelengths_nm)]

    def _require_tuning(self) -> None:
        if len(self.wavelengths_nm) < 2:
            raise AotfLabError(
                "this calibration has no tuning curve", where=f"{self.name}, {self.measured}",
                found=Said("single lines"), allowed="a tuning curve of two or more lines",
                cure="scan two or more lines of known wavelength",
            )  # fmt: skip


def _place(nm: FloatArray) -> FloatArray:
    """Return the coordinate (um^-2) along which frequency times wavelength is all but a parabola, as dispersion is."""
    return np.asarray(1e6 / np.square(nm))
