"""The passband of one line (first face; its author completes it)."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan_fit import ScanSolution, solve_scan
from aotf_lab.crystal.scan_table import scan_table
from aotf_lab.estimation import Fit
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["Scan", "fit_scan"]


@dataclass(frozen=True)
class Scan:
    """A fitted passband."""

    readings: Readings = field(repr=False)
    line: str
    fit: Fit = field(repr=False)
    solution: ScanSolution = field(repr=False)

    @property
    def centre_indicated_mhz(self) -> UFloat:
        """Centre as the counter shows it."""
        return self.fit.parameters["centre_mhz"]

    @property
    def centre_mhz(self) -> UFloat:
        """Centre in true MHz."""
        value = self.centre_indicated_mhz
        for error in self.readings.common_errors("frequency_mhz"):
            value = error.applied_to(value)
        return value

    @property
    def fwhm_mhz(self) -> UFloat:
        """Full width at half maximum."""
        return self.fit.parameters["fwhm_mhz"]

    def plot(self, ax: Any = None) -> Any:
        """Draw it."""
        from aotf_lab.drawing import plot_scan

        table = self.readings.table
        grid = np.linspace(table["frequency_mhz"].min(), table["frequency_mhz"].max(), 300)
        groups = {
            str(d): (g["frequency_mhz"].to_numpy(), g["optical_power_mw"].to_numpy())
            for d, g in table.groupby("direction")
        }
        model = self.solution.model.settled(grid, *self.fit.values)
        return plot_scan(grid, {"settled meter": model}, groups, self.centre_indicated_mhz.n, ax)


def fit_scan(readings: Any, *, line: str = "", time_constant_s: float | None = None) -> Scan:
    """Fit a scan."""
    whole = as_readings(readings)
    solution = solve_scan(scan_table(whole), None, time_constant_s, f"the scan of line {line}")
    return Scan(whole, line, solution.fit, solution)
