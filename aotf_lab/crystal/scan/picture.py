"""The arrays of a scan's picture."""

from __future__ import annotations

from typing import Any

import numpy as np

from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.estimation.problem import FloatArray

__all__ = ["draw_scan"]


def draw_scan(solution: ScanSolution, range_mhz: tuple[float, float], ax: Any = None) -> Any:
    """Draw the readings of each direction, the passband, and what the trailing meter shows; return the Axes."""
    from scipy.interpolate import PchipInterpolator

    from aotf_lab.drawing import plot_scan

    table = solution.table
    grid = np.linspace(*range_mhz, 400)
    models = {"settled": solution.model.settled(grid, *solution.fit.values)}
    readings: dict[str, tuple[FloatArray, FloatArray]] = {}
    expected = solution.model(table.frequency_mhz, *solution.fit.values)
    for way, name in ((1, "up"), (-1, "down")):
        rows = table.direction == way
        if rows.any():
            readings[name] = (table.frequency_mhz[rows], table.power_mw[rows])
        f, first = np.unique(table.frequency_mhz[rows], return_index=True)
        if len(f) > 3 and solution.model.lag(solution.fit.values) != 0:
            inside = (grid >= f[0]) & (grid <= f[-1])
            models[name] = np.where(inside, PchipInterpolator(f, expected[rows][first])(grid), np.nan)
    return plot_scan(grid, models, readings, solution.fit.values[0], ax)
