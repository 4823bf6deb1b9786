"""How much light for how much RF power: the efficiency curve of one line.

eta(P) = eta_max sin^2((pi/2) sqrt(P / P_sat)), coupled waves in tune (Yariv & Yeh, Optical Waves in
Crystals (1984)). What the drive did not reach is not claimed: see ``Efficiency``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from aotf_lab.crystal.efficiency.checks import FitPoint, dark_check, law_check, peak_check, reach_check
from aotf_lab.crystal.efficiency.curve import INTERVAL, SLOPE_ONLY, EfficiencyCurve, level_of
from aotf_lab.crystal.efficiency.intervals import peak_interval, saturation_interval
from aotf_lab.crystal.efficiency.law import drive_law
from aotf_lab.crystal.efficiency.readings import DriveReadings, EfficiencyTable, drive_readings, one_line
from aotf_lab.crystal.efficiency.start import starting_values
from aotf_lab.errors import FitError, Said
from aotf_lab.estimation import Fit, Parameter, Problem, fit_problem
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["Efficiency", "fit_efficiency"]

_LEAST_SIGNAL = 3.0
"""Standard uncertainties by which the initial slope must differ from zero."""


@dataclass(frozen=True)
class Efficiency(EfficiencyCurve):
    """The efficiency curve of one line, made by ``fit_efficiency``.

    Three levels of honesty, by how far the drive is proven (95 %) to have reached:

    - ``"slope only"``, below 0.4 P_sat: ``efficiency``, ``rf_power`` and ``slope_per_w`` hold within the
      range; ``saturation_power_w`` and ``peak_efficiency`` raise ``FitError``; ``saturation_interval_w``
      gives bounds alone.
    - ``"asymmetric interval"``, up to about P_sat: all are given, and P_sat is better stated by
      ``saturation_interval_w`` than by +- u.
    - ``"full"``: the peak was passed.

    ``fit`` has the parameters "slope" (1/W) and "curvature" (1 / eta_max), both in indicated values;
    ``readings`` are what they came from.
    """

    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    drive: DriveReadings = field(repr=False)
    problem: Problem = field(repr=False)
    _intervals: dict[float, tuple[float, float]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def saturation_interval_w(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the interval of the saturation power (true W) at ``confidence``: profile likelihood, asymmetric.

        The power scale's error is profiled with the rest. At level "slope only" the low end is what
        the readings' curvature allows, and the high end only says that no efficiency exceeds 1.
        An end that nothing bounds is infinite. Raises ``AotfLabError`` for a confidence outside 0 to 1.
        """
        if confidence not in self._intervals:
            bounds_only = self.level == SLOPE_ONLY
            found = saturation_interval(self.drive, self.problem, self.fit, confidence, bounds_only)
            self._intervals[confidence] = found
        return self._intervals[confidence]

    def peak_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the interval of the peak efficiency at ``confidence``: profile likelihood, at most 1.

        Raises ``FitError`` at level "slope only".
        """
        self._require_peak("peak efficiency")
        return peak_interval(self.drive, self.problem, self.fit, confidence)

    def plot(self, ax: Any = None) -> Any:
        """Draw readings, curve, 95 % band and P_sat with its interval (true W); return the Axes."""
        from aotf_lab.drawing import plot_efficiency

        grid = np.linspace(*self.range_w, 200)
        best = drive_law(grid, self.slope_per_w.n, self.curvature.n)
        half = self.fit.coverage_factor() * self.u_efficiency(grid)
        drive = self.drive
        zeros = np.zeros_like(drive.power_w)
        u_power = zeros if drive.u_power_w is None else drive.u_power_w
        u = (u_power, np.asarray(self.problem.u_y))
        saturation = None
        if self.level != SLOPE_ONLY:
            low, high = self.saturation_interval_w()
            saturation = (low, self.saturation_power_w.n, high)
        label = f"Line {self.line}" if self.line else ""
        return plot_efficiency(
            grid, best, (best - half, best + half), drive.power_w, drive.efficiency, u, saturation, label, ax=ax
        )

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit) of what may be stated, one pair per line of ``str``."""
        rows = [("level", self.level), ("initial slope", f"{self.slope_per_w:.2uS} /W")]
        low, high = self.saturation_interval_w()
        if self.level == SLOPE_ONLY:
            rows.append(("saturation power", f"{low:.3g} to {high:.3g} W (bounds, 95 %)"))
        else:
            rows.append(("saturation power", f"{self.saturation_power_w:.2uS} W"))
            if self.level == INTERVAL:
                rows.append(("", f"{low:.3g} to {high:.3g} W (95 %)"))
            rows.append(("peak efficiency", f"{self.peak_efficiency:.2uS}"))
        rows.append(("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"))
        return tuple(rows)

    def __str__(self) -> str:
        return rows_text(self._title, self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title, self.rows(), self.fit.failed)

    @property
    def _title(self) -> str:
        title = "Efficiency" + (f" of line {self.line}" if self.line else "")
        return title + (f" at {self.wavelength_nm:.2f} nm" if self.wavelength_nm is not None else "")


def fit_efficiency(readings: EfficiencyTable, *, wavelength_nm: float | None = None, line: str = "") -> Efficiency:
    """Fit efficiency against RF power and return the ``Efficiency`` of one line.

    ``readings`` is a table, or a list of them, with ``rf_power_w`` (W, as the bench's scope indicates),
    ``u_rf_power_w``, ``efficiency`` (0 to 1) and ``u_efficiency``; a row without drive may state its
    power as exact (u of 0). Columns ``label`` and ``wavelength_nm`` are understood; ``line`` picks the
    rows of one label. Errors in both variables count (effective variance). Errors that all powers
    share (scope gain, pad, load) are kept apart: the fit is in indicated watts, the result in true
    ones. An offset that the readings share is fitted within its stated size.

    Raises ``ReadingsError`` for readings that cannot be (efficiency above 1, u of zero or below) or
    are too few, ``FitError`` for readings that show no light, fall with drive, or lie beyond the peak alone.
    """
    rows, name = one_line(readings, line)
    drive = drive_readings(rows, wavelength_nm, name)
    problem = efficiency_problem(drive)
    fit = fit_problem(problem, thorough=False)  # the start has seen every minimum
    if fit.noise is not None:
        problem = replace(problem, u_y=np.full_like(problem.y, fit.noise))
    slope, curvature = fit.parameters["slope"], fit.parameters["curvature"]
    if not slope.n > _LEAST_SIGNAL * slope.s:
        raise FitError(
            f"{drive.scatter} show no light that rises with drive",
            found=Said(f"an initial slope of {slope.n:.3g} +- {slope.s:.2g} per W"),
            allowed=f"at least {_LEAST_SIGNAL:g} standard uncertainties above zero",
            cure="check that the crystal is driven at this line's frequency, and that efficiency is not a dark reading",
        )
    curve = EfficiencyCurve(
        name, drive.wavelength_nm, slope / drive.power_scale * drive.efficiency_scale,
        curvature / drive.efficiency_scale, drive.power_scale, rows.common_errors("rf_power_w"),
        (0.0, float(drive.power_w.max())), "",
    )  # fmt: skip
    reach = curve.reach
    reach_low = reach.n - fit.coverage_factor() * reach.s
    level = level_of(reach_low)
    fit = replace(fit, checks=tuple(c for c in fit.checks if c.name != "limits"))
    point = FitPoint.of(problem, fit)
    fit = fit.with_checks(
        *drive.notes,
        reach_check(level, f"{reach:.1u}", reach_low),
        peak_check(point),
        *(() if drive.dark_offset is not None else (dark_check(point),)),
        law_check(point),
    )
    return Efficiency(
        curve.line, curve.wavelength_nm, curve.slope_per_w, curve.curvature, curve.power_scale,
        curve.common_errors, curve.range_w, level, rows, fit, drive, problem,
    )  # fmt: skip


def efficiency_problem(drive: DriveReadings) -> Problem:
    """Return the fit of one line in indicated values: slope, curvature, and the offsets that are stated.

    Raises ``FitError`` as ``starting_values`` does.
    """
    slope, curvature = starting_values(drive)
    parameters = [Parameter("slope", slope), Parameter("curvature", max(curvature, 1.0001), low=1.0)]
    offsets = [("power_offset_w", drive.power_offset), ("dark_offset", drive.dark_offset)]
    parameters += [Parameter(name, 0.0, prior=prior) for name, prior in offsets if prior is not None]
    has_power = drive.power_offset is not None

    def model(power_w: FloatArray, k: float, c: float, *shifts: float) -> FloatArray:
        if not shifts:
            return drive_law(power_w, k, c)
        moved = power_w + shifts[0] if has_power else power_w
        return drive_law(moved, k, c) - (shifts[-1] if drive.dark_offset is not None else 0.0)

    return Problem(
        model, tuple(parameters), drive.power_w, drive.efficiency, drive.u_efficiency, drive.u_power_w,
        drive.scatter, drive.places,
    )  # fmt: skip
