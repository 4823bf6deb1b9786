"""The passband of one line: where its peak is, how wide it is, and what trails, leans or wanders in its scan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat
from uncertainties.umath import log1p

from aotf_lab.crystal.cut import Cut
from aotf_lab.crystal.scan.branches import Branches, branches_of
from aotf_lab.crystal.scan.checks import explained, scan_checks
from aotf_lab.crystal.scan.fit import ScanSolution, solve_scan
from aotf_lab.crystal.scan.further import Further, further
from aotf_lab.crystal.scan.further_checks import further_checks
from aotf_lab.crystal.scan.lag import exactly, lag_steps, motion_within_a_step
from aotf_lab.crystal.scan.lengths import length_mm, weak_fwhm_mhz, width_nm
from aotf_lab.crystal.scan.picture import draw_scan
from aotf_lab.crystal.scan.sidelobes import Sidelobe, measured_sidelobes
from aotf_lab.crystal.scan.table import scan_table
from aotf_lab.crystal.scan.words import scan_rows, scan_title
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Fit, FittedFunction
from aotf_lab.estimation.evaluate import require_inside, split
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["Scan", "fit_scan"]

ScanReadings = Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]


@dataclass(frozen=True)
class Scan:
    """A fitted passband, made by ``fit_scan``. All numbers share the causes of error of one ``fit``.

    - ``centre_mhz``, ``fwhm_mhz``: peak and full width at half of it (true MHz, the counter's error included).
    - ``peak_power_mw``, ``floor_mw``: diffracted power at the peak above the floor, and the floor.
    - ``slope_mw_per_mhz``: the floor's slope, exactly 0 where the readings do not ask for one; ``floor_mw`` is then
      the floor under the peak.
    - ``branches``: two peaks where one would not do (both polarisations, or a second line), else None.
    - ``lag_mhz``: how far the indicated power trails on the way up, and on the way down the other way.
    - ``skew``: how the passband leans, see ``skewed_detuning``; ``drive_ratio``: RF power over P_sat.
    - ``sidelobes``: the first ones, where the readings reach them, beside coupled waves at this drive.

    ``fit`` has the parameters as indicated; ``readings`` are what they came from, ``expected_mw`` (n,) the fitted
    indicated power at each of their rows, ``directions`` (n,) +1 or -1.
    """

    line: str
    centre_mhz: UFloat
    fwhm_mhz: UFloat
    peak_power_mw: UFloat
    floor_mw: UFloat
    slope_mw_per_mhz: UFloat
    skew: UFloat
    drive_ratio: UFloat
    lag_mhz: UFloat
    sidelobes: tuple[Sidelobe, ...]
    branches: Branches | None
    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    expected_mw: FloatArray = field(repr=False)
    directions: FloatArray = field(repr=False)
    solution: ScanSolution = field(repr=False)
    motion: UFloat | None = field(repr=False)

    @property
    def time_constant_s(self) -> UFloat | None:
        """Time constant (s) of the power meter; None without logged times, and where no lag was seen."""
        steps, step_s = lag_steps(self.solution), self.solution.table.step_s
        if step_s is None or not steps.n > max(2.0 * steps.s, 1e-3):
            return None
        return step_s / log1p(1 / steps)

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The scanned range (indicated MHz)."""
        f = self.solution.table.frequency_mhz
        return float(f.min()), float(f.max())

    def power(self, frequency_mhz: Any) -> Any:
        """Return the power (mW), floor included, that a settled meter reads at ``frequency_mhz`` (true MHz).

        A scalar gives a ``ufloat``, an array (n,) an object array (n,). Raises ``OutOfRangeError`` outside the scan.
        """
        nominal, elements, scalar = split(frequency_mhz)
        require_inside("frequency", nominal, *self.range_mhz, "MHz")
        curve = FittedFunction(self.fit, self.solution.model.settled)
        indicated = np.array([self._indicated(element) for element in elements])
        values = np.empty(len(nominal), dtype=object)
        for k, value in enumerate(curve(indicated)):
            values[k] = _through(self.readings, "optical_power_mw", value)
        return values[0] if scalar else values

    def share_of_peak(self, frequency_mhz: Any) -> Any:
        """Return the light (0 to 1) at ``frequency_mhz`` (true MHz) over that in tune, the floor taken off.

        Shapes and errors as for ``power``; of two peaks both count, the main one being 1.
        """
        nominal, elements, scalar = split(frequency_mhz)
        require_inside("frequency", nominal, *self.range_mhz, "MHz")
        model = self.solution.model
        curve = FittedFunction(self.fit, lambda f, *values: model.signal(f, *values) / values[2])
        shares = curve(np.array([self._indicated(element) for element in elements]))
        return shares[0] if scalar else shares

    def fwhm_nm(self, tuning: Tuning) -> UFloat:
        """Return the full width at half of the peak in vacuum nm, by the local slope of ``tuning``.

        Raises ``OutOfRangeError`` where the tuning curve does not reach both half heights.
        """
        return width_nm(self.centre_mhz, self.fwhm_mhz, tuning)

    @property
    def weak_fwhm_mhz(self) -> UFloat:
        """Full width (MHz) at half of the peak that this passband would have upright and in weak drive."""
        return weak_fwhm_mhz(self.fwhm_mhz, self.skew, self.drive_ratio)

    def interaction_length_mm(
        self, cut: Cut, wavelength_nm: UFloat | float, *, walkoff_deg: UFloat | float | None = None
    ) -> UFloat:
        """Return the length (mm) of the transducer, across the acoustic wave vector, that gives the weak-drive width.

        By the exact index surfaces of ``cut`` at the vacuum ``wavelength_nm``; u from the width, the drive, the
        velocity and the cut. ``walkoff_deg`` is the lean of the sound's energy from its wave vector (deg, towards
        [001]), by default that of the packaged slow shear wave; 0 takes the column as straight, as published passband
        formulas do, and the length is then the light's way through it to about 1 %. A sound field that is not even
        makes the length that an even one would have. Errors as for ``physics.passband_length``.
        """
        return length_mm(self.weak_fwhm_mhz, cut, wavelength_nm, walkoff_deg)

    def _indicated(self, frequency_mhz: UFloat | float) -> UFloat | float:
        """Return what the counter shows at a true frequency, to first order in its errors, which have mean 0."""
        nominal = frequency_mhz.n if isinstance(frequency_mhz, UFloat) else float(frequency_mhz)
        true = _through(self.readings, "frequency_mhz", nominal if self.motion is None else nominal + self.motion)
        return frequency_mhz - (true - nominal)

    def plot(self, ax: Any = None) -> Any:
        """Draw the readings of each direction, the passband, and what the trailing meter shows; return the Axes."""
        return draw_scan(self.solution, self.range_mhz, ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        return scan_rows(self)

    def __str__(self) -> str:
        return rows_text(scan_title(self), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(scan_title(self), self.rows(), self.fit.failed)


def fit_scan(
    readings: ScanReadings,
    *,
    drive_ratio: float | UFloat | None = None,
    time_constant_s: float | UFloat | None = None,
    line: str = "",
) -> Scan:
    """Fit the passband of one line to a scan of the frequency and return the ``Scan``.

    ``readings`` is a table, or a list of them (the way up, the way down), with ``frequency_mhz`` and
    ``optical_power_mw``; understood beside them: ``u_optical_power_mw`` (estimated from the scatter without it),
    ``u_frequency_mhz``, ``direction`` ("up", "down", +1 or -1; else the order of rows tells), ``time_s``,
    ``incident_power_mw``, which is divided out, and ``range``, the power meter's: each has an offset, a gain and a
    scatter of its own (ranges that only the digits show are found where they differ). ``optical_power_dbm`` or
    ``optical_level_db`` (0 dB then counts as 1 mW) may stand for the power: the scatter then counts in dB. The
    frequency is taken to stand still between two readings, and each reading to be made at the end of its step.

    ``drive_ratio`` is RF power over that of full diffraction (a plain number counts as exact; fitted when left out).
    ``time_constant_s`` is the power meter's (a plain number is taken to 10 %, zero as exact). Up and down together
    separate the centre from the meter's lag; one way only, its centre is widened and a check says so.

    Raises ``ReadingsError`` for readings without a peak, with a dip, with the peak outside the scan, too few or
    impossible; ``FitError`` when no fit is found.
    """
    table = scan_table(readings)
    found = further(solve_scan(table, drive_ratio, time_constant_s, f"the scan of line {line}" if line else "the scan"))
    solution, point = found.solution, found.point
    table = solution.table
    _require_inside(solution)
    p = found.parameters
    lag_mhz = lag_steps(solution) * table.pace_mhz
    sidelobes = () if solution.model.second else measured_sidelobes(point)
    motion = motion_within_a_step(solution)
    centre = p["centre_mhz"] if motion is None else p["centre_mhz"] + motion
    branches = _branches(found, centre)
    u_motion = 0.0 if motion is None else motion.s
    checks = scan_checks(point, lag_mhz, u_motion, sidelobes) + further_checks(found, branches)
    return Scan(
        line=line,
        centre_mhz=_through(table.readings, "frequency_mhz", centre) if branches is None else branches.main_mhz,
        fwhm_mhz=_through(table.readings, "frequency_mhz", p["fwhm_mhz"], offsets=False),
        peak_power_mw=_through(table.readings, "optical_power_mw", p["peak_power_mw"], offsets=False),
        floor_mw=_through(table.readings, "optical_power_mw", p["floor_mw"]),
        slope_mw_per_mhz=_slope(solution),
        skew=p["skew"],
        drive_ratio=p.get("drive_ratio", exactly(p, solution.model.drive_ratio)),
        lag_mhz=lag_mhz,
        sidelobes=sidelobes,
        branches=branches,
        readings=table.readings,
        fit=explained(solution.fit.with_checks(*checks)),
        expected_mw=table.in_table_order(solution.model(table.frequency_mhz, *solution.fit.values)),
        directions=table.in_table_order(table.direction),
        solution=solution,
        motion=motion,
    )


def _through(readings: Readings, column: str, value: UFloat | float, *, offsets: bool = True) -> UFloat:
    """Return the true value of what ``column`` indicates; without ``offsets`` that of a difference."""
    for error in readings.common_errors(column):
        if offsets or error.kind == "relative":
            value = error.applied_to(value)
    return value


def _slope(solution: ScanSolution) -> UFloat:
    p, readings = solution.fit.parameters, solution.table.readings
    slope = p.get("slope_mw_per_mhz", exactly(p, 0.0))
    return _through(readings, "optical_power_mw", slope, offsets=False)


def _branches(found: Further, centre: UFloat) -> Branches | None:
    if found.two_peaks is None:
        return None
    p, readings = found.parameters, found.solution.table.readings
    main = _through(readings, "frequency_mhz", centre)
    apart = _through(readings, "frequency_mhz", p["separation_mhz"], offsets=False)
    return branches_of(main, apart, p["second_ratio"], found.two_peaks.gained)


def _require_inside(solution: ScanSolution) -> None:
    f, centre = solution.table.frequency_mhz, float(solution.fit.values[0])
    if not f.min() <= centre <= f.max():
        raise ReadingsError(
            "the peak lies outside the scan", where=", ".join(s.name for s in solution.table.readings.sources),
            found=f"{centre:.6g} MHz", allowed=f"inside {f.min():.6g} to {f.max():.6g} MHz",
            cure="scan further to that side, two widths beyond the peak",
        )  # fmt: skip
