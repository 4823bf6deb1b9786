"""A wide sweep explained: which peaks it shows, and what each of them is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.crystal.cut import Cut
from aotf_lab.crystal.hunt.checks import hunt_checks
from aotf_lab.crystal.hunt.cut_off import with_cut_off
from aotf_lab.crystal.hunt.decide import decide
from aotf_lab.crystal.hunt.expected import Expected, expected
from aotf_lab.crystal.hunt.features import USUAL_FWHM_MHZ, features_of, width_of_lines
from aotf_lab.crystal.hunt.fit import HuntSolution, solve_hunt
from aotf_lab.crystal.hunt.found import detection_mw, found_peaks
from aotf_lab.crystal.hunt.model import FLOORS, lights
from aotf_lab.crystal.hunt.newton import Known
from aotf_lab.crystal.hunt.peak import Kind, Peak
from aotf_lab.crystal.hunt.table import HuntReadings, HuntTable, hunt_table
from aotf_lab.crystal.scan.model import time_constant_in_steps
from aotf_lab.crystal.tuning.curve import Tuning
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation import Fit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.reading.readings import Readings

__all__ = ["Hunt", "fit_hunt"]


@dataclass(frozen=True)
class Hunt:
    """The peaks of a sweep, made by ``fit_hunt``; their numbers share the causes of error of one ``fit``.

    ``peaks`` are in order of frequency, numbered from 1. ``detection_mw`` is the least height that is found with a
    chance of 95 % away from other light, for a peak as wide as a line and, ``ghost_detection_mw``, half as wide.
    ``lag_steps`` is by how many steps the power meter trails, ``told`` what was told beforehand.
    """

    peaks: tuple[Peak, ...]
    detection_mw: float
    ghost_detection_mw: float
    lag_steps: UFloat
    told: Expected = field(repr=False)
    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    solution: HuntSolution = field(repr=False)

    def of_kind(self, *kinds: Kind) -> tuple[Peak, ...]:
        """Return the peaks of these kinds, in order of frequency."""
        return tuple(p for p in self.peaks if p.kind in kinds)

    @property
    def lines(self) -> tuple[Peak, ...]:
        """The peaks that are lines."""
        return self.of_kind("line")

    @property
    def ghosts(self) -> tuple[Peak, ...]:
        """The peaks that are ghosts of lines."""
        return self.of_kind("ghost")

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The swept range (indicated MHz)."""
        return self.solution.sweep.model.table.range_mhz

    @property
    def table(self) -> pd.DataFrame:
        """One row per peak: numbers as floats with their u (NaN where not told), what it is and why."""
        rows = []
        for p in self.peaks:
            width = (np.nan, np.nan) if p.fwhm_mhz is None else (p.fwhm_mhz.n, p.fwhm_mhz.s)
            rows.append(
                {
                    "peak": p.number, "frequency_mhz": p.frequency_mhz.n, "u_frequency_mhz": p.frequency_mhz.s,
                    "fwhm_mhz": width[0], "u_fwhm_mhz": width[1], "optical_power_mw": p.power_mw.n,
                    "u_optical_power_mw": p.power_mw.s, "prominence_mw": p.prominence_mw,
                    "significance": p.significance, "kind": p.kind, "name": p.name, "what": p.title,
                    "share": p.best.share, "why": p.best.statement, "notes": "; ".join(p.notes),
                }
            )  # fmt: skip
        columns = "peak frequency_mhz u_frequency_mhz fwhm_mhz u_fwhm_mhz optical_power_mw u_optical_power_mw"
        columns += " prominence_mw significance kind name what share why notes"
        return pd.DataFrame(rows, columns=columns.split())

    def plot(self, ax: Any = None, *, log: bool = True) -> Any:
        """Draw the sweep with each peak marked by its kind, on a log scale unless told; return the Axes."""
        from aotf_lab.drawing.hunt import HuntMark, plot_hunt

        table, values = self.solution.sweep.model.table, self.solution.sweep.values
        grid = np.linspace(*table.range_mhz, 2400)
        model = lights(grid, values).sum(axis=1)
        floor = self.solution.sweep.model.floors @ values[:FLOORS]
        marks = [
            HuntMark(p.kind, p.name or str(p.number), float(p.frequency_mhz.n), float(p.power_mw.n)) for p in self.peaks
        ]
        bottom = 3.0 * self.solution.sweep.floor_scatter_mw
        return plot_hunt(table.frequency_mhz, table.power_mw - floor, grid, model, marks, bottom, ax, log=log)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        table = self.solution.sweep.model.table
        lag = self.lag_steps * table.step_mhz * 1e3
        least, narrow = (f"{1e3 * mw:.2g} uW" for mw in (self.detection_mw, self.ghost_detection_mw))
        return (
            *((f"peak {p.number}", str(p)) for p in self.peaks),
            ("found with 95 %", f"from {least}; {narrow} if half as wide"),
            ("lag", f"{lag:.2uS} kHz" if lag.s > 0 else f"{lag.n:.3g} kHz"),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.4g}"),
        )  # fmt: skip

    def _title(self) -> str:
        table = self.solution.sweep.model.table
        low, high = table.range_mhz
        ways = "one way" if table.one_way else "up and down"
        return f"Hunt from {low:.2f} to {high:.2f} MHz: {len(table.power_mw)} readings, {ways}, {len(self.peaks)} peaks"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), (*self.told.notes, *self.fit.failed))

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), (*self.told.notes, *self.fit.failed))


def fit_hunt(
    readings: HuntReadings,
    *,
    lines: Mapping[str, UFloat | float] | None = None,
    tuning: Tuning | Cut | None = None,
    harmonics: Mapping[int, UFloat | float] | None = None,
    scanned: Mapping[str, UFloat] | None = None,
    fwhm_mhz: float | None = None,
    drive_ratio: float | UFloat | None = None,
    time_constant_s: float | UFloat | None = None,
) -> Hunt:
    """Find all peaks of a wide sweep, fit their passbands together and say what each is; return the ``Hunt``.

    ``readings`` is a table, or a list of them, in the order of time, with ``frequency_mhz`` and ``optical_power_mw``;
    understood beside them: ``time_s``, ``dark_power_mw`` (subtracted), ``u_optical_power_mw`` (the scatter of the
    dark rows is used where it is larger). Up only, or up and down. A peak counts when it is higher than the scatter
    alone would make one anywhere in ``SIGNIFICANCE`` of all sweeps.

    ``lines`` are vacuum wavelengths (nm) by name (a plain number counts as exact); with ``tuning``, a curve or a cut,
    they say where lines are to be expected, and peaks are named. ``scanned`` are the centres (MHz) of lines that were
    scanned by themselves, by name: of scan and wavelength the better known counts. ``harmonics`` are levels of the
    oscillator's harmonics by order, dB relative to the fundamental (3 dB is added to their u). ``fwhm_mhz`` is the
    usual width of a line in weak drive, else taken from the highest peaks. ``drive_ratio`` is RF power over that of
    full diffraction, about the same for all lines (a plain number is taken to 0.1); ``time_constant_s`` the power
    meter's (to 10 %), else both are found from the sweep.

    Raises ``ReadingsError`` for readings that are missing, too few or no numbers, and for impossible inputs.
    """
    table = hunt_table(readings)
    told = expected(lines, tuning, harmonics, scanned)
    if fwhm_mhz is not None and not fwhm_mhz > 0:
        raise ReadingsError(
            "FWHM of a line", found=f"{fwhm_mhz:g} MHz", allowed="above 0 MHz", cure="correct it, or leave it out"
        )
    stated = time_constant_s if isinstance(time_constant_s, UFloat) else None
    solution = solve_hunt(table, Known(_lag(table, time_constant_s), _drive(drive_ratio), stated))
    features = features_of(solution)
    width = width_of_lines(features, fwhm_mhz or (None if features else USUAL_FWHM_MHZ))
    features = with_cut_off(features, solution, width)
    usual = float(np.exp(width.log_width))
    bounds = detection_mw(solution, usual), detection_mw(solution, 0.5 * usual)
    decided = decide(features, width, told, table.range_mhz, bounds[0])
    peaks = found_peaks(solution, features, decided)
    fit = solution.fit.with_checks(*hunt_checks(solution, peaks, told))
    return Hunt(peaks, *bounds, solution.lag_steps, told, table.readings, fit, replace(solution, fit=fit))


def _lag(table: HuntTable, time_constant_s: float | UFloat | None) -> tuple[float, float] | None:
    """Return lag and its u in steps by the stated time constant; None where it, or the time, is not known."""
    if time_constant_s is None:
        return None
    nominal = float(time_constant_s.n) if isinstance(time_constant_s, UFloat) else float(time_constant_s)
    if not nominal >= 0:
        raise ReadingsError(
            "time constant of the power meter", found=f"{nominal:.6g} s", allowed="0 s or more",
            cure="correct it, or leave it out",
        )  # fmt: skip
    if table.step_s is None:
        return (0.0, 1e-3) if nominal == 0 else None
    u = float(time_constant_s.s) if isinstance(time_constant_s, UFloat) else 0.1 * nominal
    middle = time_constant_in_steps(nominal, table.step_s)
    return middle, max(time_constant_in_steps(nominal + u, table.step_s) - middle, 1e-3)


def _drive(drive_ratio: float | UFloat | None) -> tuple[float, float] | None:
    if drive_ratio is None:
        return None
    nominal, u = (drive_ratio.n, drive_ratio.s) if isinstance(drive_ratio, UFloat) else (drive_ratio, 0.1)
    if not 0.0 <= nominal <= 2.3:
        raise ReadingsError(
            "drive ratio P / P_sat of a sweep", found=f"{nominal:.6g}", allowed="0 to 2.3",
            cure="give RF power over the power of full diffraction, or leave it out",
        )  # fmt: skip
    return float(nominal), max(float(u), 1e-3)
