"""The fits that can be looked into: how each is made from readings, and what is compared when a point is left out.

Readings are never changed: ``without`` returns new ones, and the raw files are not touched at all.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.passband import Scan, fit_scan
from aotf_lab.crystal.tuning.curve import Tuning, fit_tuning
from aotf_lab.driver import Vco, fit_vco
from aotf_lab.estimation import Fit, FittedFunction
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings
from aotf_lab.session import Session

__all__ = ["Inspected", "inspected_fits", "without"]


def without(readings: Readings, rows: Iterable[int]) -> Readings:
    """Return the readings without ``rows`` (positions in the table); each that stays keeps its file and line."""
    out = set(rows)
    kept = [k for k in range(len(readings.table)) if k not in out]
    return replace(readings, table=readings.table.iloc[kept].reset_index(drop=True))


@dataclass(frozen=True)
class Inspected(ABC):
    """A fit of ``readings`` under its ``name``. ``per_unit`` shown units are one unit of y: residuals in ``unit``."""

    name: str
    readings: Readings = field(repr=False)
    x_column: str
    y_column: str
    unit: str
    per_unit: float

    @cached_property
    def whole(self) -> Any:
        """The result with every reading."""
        return self.fitted(self.readings)

    @cached_property
    def x(self) -> FloatArray:
        """Where each reading was made (n,)."""
        return np.asarray(self.readings.table[self.x_column].to_numpy(dtype=float))

    @cached_property
    def y(self) -> FloatArray:
        """What each reading says (n,)."""
        return np.asarray(self.readings.table[self.y_column].to_numpy(dtype=float))

    @cached_property
    def _rests(self) -> dict[frozenset[int], Any]:
        return {}

    def rest(self, rows: Iterable[int]) -> Any:
        """Return the result without ``rows``; the last one is kept. Raises as its ``fit_...``."""
        out = frozenset(rows)
        if not out:
            return self.whole
        if out not in self._rests:
            found = self.fitted(without(self.readings, out))
            self._rests.clear()
            self._rests[out] = found
        return self._rests[out]

    def words(self, row: int) -> str:
        """Return which reading this is: its label where it has one, and its file and line."""
        place = self.readings.place(row)
        labels = self.readings.table.get("label")
        return place if labels is None or not str(labels.iloc[row]) else f"{labels.iloc[row]} ({place})"

    @abstractmethod
    def fitted(self, readings: Readings) -> Any:
        """Return the result of ``readings``; raises as its ``fit_...``."""

    @abstractmethod
    def fit(self, result: Any) -> Fit:
        """Return the fit of ``result``."""

    @abstractmethod
    def curve(self, result: Any, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the curve (m,) at ``x`` (m,) and its standard uncertainty, nan outside the range of ``result``."""

    @abstractmethod
    def expected(self, result: Any) -> tuple[FloatArray, FloatArray]:
        """Return what ``result`` expects of every reading (n,), left out or not, and the u of the gap to it."""

    @abstractmethod
    def numbers(self, result: Any) -> dict[str, tuple[UFloat, str]]:
        """Return name -> (value, unit) of what is compared."""


@dataclass(frozen=True)
class OscillatorFit(Inspected):
    """The oscillator's curve."""

    def fitted(self, readings: Readings) -> Vco:
        """Return the curve."""
        return fit_vco(readings)

    def fit(self, result: Vco) -> Fit:
        """Return its fit."""
        return result.fit

    def curve(self, result: Vco, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return frequency and u at voltages."""
        inside = (x >= result.range_v[0]) & (x <= result.range_v[1])
        mhz, u = np.full(len(x), np.nan), np.full(len(x), np.nan)
        mhz[inside] = result.curve.curve(x[inside])
        u[inside] = [f.s for f in result.frequency(x[inside])]
        return mhz, u

    def expected(self, result: Vco) -> tuple[FloatArray, FloatArray]:
        """Return the curve at each voltage, by the side from which it was approached where that counts."""
        mhz, u = self.curve(result, self.x)
        inside = np.isfinite(mhz)
        slope = np.full(len(mhz), np.nan)
        slope[inside] = result.curve.slope(self.x[inside])
        if result.backlash_v is not None and "direction" in self.readings.table.columns:
            side = self.readings.table["direction"].map({"up": 0.5, "down": -0.5}).fillna(0.0).to_numpy(dtype=float)
            mhz = mhz + side * slope * result.backlash_v.n
        return mhz, np.hypot(u, result.fit.birge * np.hypot(result.u_count_mhz, slope * result.u_setting_v))

    def numbers(self, result: Vco) -> dict[str, tuple[UFloat, str]]:
        """Return frequencies at five voltages, and the terms beside the curve."""
        low, high = self.whole.range_v
        inside = [v for v in np.round(np.linspace(low, high, 5), 2).tolist()
                  if result.range_v[0] <= v <= result.range_v[1]]  # fmt: skip
        found: dict[str, tuple[UFloat, str]] = {f"f at {v:g} V": (result.frequency(v), "MHz") for v in inside}
        terms = {n: p for n, p in result.fit.parameters.items() if not n.startswith("frequency at")}
        return found | {n: (p, "") for n, p in terms.items()}


@dataclass(frozen=True)
class TuningFit(Inspected):
    """The tuning curve of the crystal."""

    material: str

    def fitted(self, readings: Readings) -> Tuning:
        """Return the curve."""
        return fit_tuning(readings, material=self.material)

    def fit(self, result: Tuning) -> Fit:
        """Return its fit."""
        return result.fit

    def curve(self, result: Tuning, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return frequency and u at wavelengths."""
        function = FittedFunction(result.fit, result.law)
        inside = (x >= result.range_nm[0]) & (x <= result.range_nm[1])
        nominal, u = function.nominal(x), function.u(x)
        return np.where(inside, nominal, np.nan), np.where(inside, u, np.nan)

    def expected(self, result: Tuning) -> tuple[FloatArray, FloatArray]:
        """Return the curve at each line, and the u of the gap, the line's own included."""
        function = FittedFunction(result.fit, result.law)
        own = self.whole.problem.spread(result.fit.values) * result.fit.birge
        return function.nominal(self.x), np.hypot(function.u(self.x), own)

    def numbers(self, result: Tuning) -> dict[str, tuple[UFloat, str]]:
        """Return the parameters of the law, and frequencies over the whole of the lines."""
        nm, (first, last) = self.whole.law.reference_nm, self.whole.anchored_nm
        found: dict[str, tuple[UFloat, str]] = {}
        if result.range_nm[0] <= nm <= result.range_nm[1]:
            found["velocity x birefringence"] = (result.velocity_birefringence(nm), "m/s")
        found |= {n: (result.fit.parameters[n], "") for n in ("tilt", "bend")}
        ends = [*np.round(np.linspace(first, last, 3), 1).tolist()]
        inside = [v for v in ends if result.range_nm[0] <= v <= result.range_nm[1]]
        return found | {f"f at {v:g} nm": (result.frequency(v), "MHz") for v in inside}


@dataclass(frozen=True)
class ScanFit(Inspected):
    """The passband of a line."""

    line: str
    time_constant_s: float | None

    def fitted(self, readings: Readings) -> Scan:
        """Return the passband."""
        return fit_scan(readings, line=self.line, time_constant_s=self.time_constant_s)

    def fit(self, result: Scan) -> Fit:
        """Return its fit."""
        return result.fit

    def curve(self, result: Scan, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the power of a settled meter and its u."""
        function = FittedFunction(result.fit, result.solution.model.settled)
        return function.nominal(x), function.u(x)

    def expected(self, result: Scan) -> tuple[FloatArray, FloatArray]:
        """Return the power indicated at each row; the meter trails as it did with every row in its place."""
        table, model = self.whole.solution.table, self.whole.solution.model
        if model.names != result.solution.model.names:
            settled, u = self.curve(result, self.x)
            return settled, np.full(len(u), np.nan)
        expected = table.in_table_order(model(table.frequency_mhz, *result.fit.values))
        return expected, table.in_table_order(self.whole.solution.noise.u_mw)

    def numbers(self, result: Scan) -> dict[str, tuple[UFloat, str]]:
        """Return what a scan is made for."""
        return {
            "peak": (result.centre_mhz, "MHz"), "width at half": (result.fwhm_mhz, "MHz"), "lean": (result.skew, ""),
            "power at the peak": (result.peak_power_mw, "mW"), "floor": (result.floor_mw, "mW"),
            "drive over P_sat": (result.drive_ratio, ""), "lag": (result.lag_mhz, "MHz"),
        }  # fmt: skip


def inspected_fits(session: Session) -> dict[str, Inspected]:
    """Return the fits of ``session`` that can be looked into, by name: those whose readings are there."""
    found: list[Inspected] = []
    if session.files("oscillator"):
        readings = session.readings("oscillator")
        found.append(OscillatorFit("oscillator", readings, "drive_v", "frequency_mhz", "kHz", 1e3))
    if session.part("tuning") is not None:
        material = session.facts.crystal.material
        found.append(
            TuningFit("tuning curve", session.tuning.readings, "wavelength_nm", "frequency_mhz", "kHz", 1e3, material)
        )
    seconds = session.facts.instruments.power_meter.time_constant_s
    for line, scan in (session.part("scans") or {}).items():
        columns = ("frequency_mhz", "optical_power_mw", "µW", 1e3)
        found.append(ScanFit(f"scan of line {line}", scan.readings, *columns, line, seconds))
    return {each.name: each for each in found}
