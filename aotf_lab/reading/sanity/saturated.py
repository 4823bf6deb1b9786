"""Did a meter run out of range without saying so?"""

from __future__ import annotations

import numpy as np

from aotf_lab.quantities import QUANTITIES
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.scatter import Floats, numbers, resolution
from aotf_lab.reading.sanity.stuck import Run, equal_runs
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["SATURATING", "saturated_meters", "stuck_at_top"]

SATURATING = ("optical_power_mw", "incident_power_mw", "rf_level_vrms", "rf_power_w")
"""Meters with a range that ends."""

_SHORTEST = 3
_CHANCE = 0.1
_STEPS = 5.0
_TURNS = 0.5


def saturated_meters(readings: Readings) -> tuple[Suspicion, ...]:
    """Return the meters whose largest reading stands in several rows on end, with rising readings on both sides.

    Readings of one file, in its order. A flat top within a few steps of the display, a column that is
    nearly constant, and readings that are often equal elsewhere are no fault.
    """
    found = []
    for column in (c for c in SATURATING if c in readings.table.columns):
        values = numbers(readings.table[column])
        kept = np.flatnonzero(np.isfinite(values))
        runs = stuck_at_top(values[kept])
        if runs:
            rows = kept[values[kept] == values[kept][runs[0].first]]
            quantity = QUANTITIES[column]
            found.append(
                Suspicion(
                    f"over-range without a mark: {quantity.name.lower()} is cut off", lines_of(readings, rows.tolist()),
                    f"the largest reading, {values[rows[0]]:.6g} {quantity.unit}, in {rows.size} rows,"
                    " and the rows around rise towards more",
                    "the range of the meter or converter ended there, or the meter held its last reading",
                    "measure in a higher range; pass these lines over: the true readings are larger",
                    tuple(rows.tolist()), unusable=True,
                )
            )  # fmt: skip
    return tuple(found)


def stuck_at_top(series: Floats) -> list[Run]:
    """Return the runs at the largest reading towards which the readings beside them rise by more than the display."""
    step = resolution(series)
    if step == 0 or series.size < 6:
        return []
    top = float(np.max(series))
    equal = np.diff(series) == 0
    below = ~((series[1:] == top) & (series[:-1] == top))
    share = (np.sum(equal[below]) + 1.0) / (np.sum(below) + 2.0)
    runs = [r for r in equal_runs(series, _SHORTEST) if series[r.first] == top and r.size < series.size - 2]
    return [r for r in runs if series.size * share ** (r.size - 1) < _CHANCE and _rises_to(series, r, top, step)]


def _rises_to(series: Floats, run: Run, top: float, step: float) -> bool:
    """Return whether both sides (one, at an end of the file) lead above the run."""
    sides = []
    for near, far in ((run.first - 1, run.first - 2), (run.last + 1, run.last + 2)):
        if 0 <= far < series.size and 0 <= near < series.size:
            slope = series[near] - series[far]
            sides.append((series[near] + slope - top, slope))
    if not sides:
        return False
    leads = all(slope > 0 and over > -_TURNS * slope for over, slope in sides)
    rise = max(slope for _, slope in sides) * (run.size if len(sides) == 1 else 0.5 * run.size)
    return leads and rise > _STEPS * step
