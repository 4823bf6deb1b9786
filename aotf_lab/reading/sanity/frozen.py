"""Did a meter stop measuring while the bench went on?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from aotf_lab.quantities import QUANTITIES
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.saturated import SATURATING, stuck_at_top
from aotf_lab.reading.sanity.scatter import (
    Floats,
    chance_limit,
    chance_of_equal,
    numbers,
    resolution,
    second_differences,
)
from aotf_lab.reading.sanity.stuck import Run, equal_runs, missed_steps
from aotf_lab.reading.sanity.suspicion import Suspicion, lines_of

__all__ = ["METERS", "frozen_meters"]

METERS = ("optical_power_mw", "incident_power_mw", "frequency_mhz", "drive_v", "rf_level_vrms", "temperature_c")
"""Meters that can stand still."""

_SHORTEST = 5
_STEPS = 3.0
_MOVES = 0.2
_LEAP = 1.3
_MOVING = 10.0
_NOISY = 0.8
_FEWEST = 5
_DRIVEN = {"frequency_mhz": ("drive_v", "optical_power_mw"), "drive_v": ("frequency_mhz",)}
"""What must move for these to be called frozen."""


def frozen_meters(readings: Readings, columns: Sequence[str] = METERS) -> tuple[Suspicion, ...]:
    """Return the meters that show one reading to the last digit over several rows in which others move.

    Readings of one file, in its order. How probable such a run is by chance comes from the pairs of following rows
    elsewhere that are equal, among those at the same level or below it (a meter scatters no less at a higher
    level), and from scatter and display; the limit keeps one false alarm in 500 files over all columns and runs. A
    column that scatters by less than a step of its display is not judged. Where nothing tells how still the meter
    is, a run counts into which the readings go by many steps of the display, and which they leave by the largest
    step of the file. Frequency and drive count only when the other one, or the light, moves in these rows as it
    does elsewhere. Rows that are equal in every column are copies, and a run at the largest value is over-range:
    neither is named here.
    """
    table = readings.table
    asked = [c for c in METERS if c in table.columns]
    found = []
    for column in (c for c in asked if c in columns):
        values = numbers(table[column])
        kept = np.flatnonzero(np.isfinite(values))
        series = values[kept]
        for run in equal_runs(series, _SHORTEST):
            rows = kept[run.first : run.last + 1]
            leaps = _leaps_on_release(series, run)
            evidence = _evidence(series, run, chance_limit(len(asked)), column in _DRIVEN, leaps)
            if evidence and (leaps or _others_move(readings, column, rows)) and not _at_top(column, series, run):
                found.append(_frozen(readings, column, rows, evidence))
    return tuple(found)


def _at_top(column: str, series: Floats, run: Run) -> bool:
    return column in SATURATING and any(run == other for other in stuck_at_top(series))


def _evidence(series: Floats, run: Run, limit: float, driven: bool, leaps: bool) -> str:
    """Return what speaks against chance and against a coarse display, "" when nothing does."""
    if missed_steps(series, run) < _STEPS:
        return ""
    rest = np.delete(series, range(run.first, run.last + 1))
    if np.unique(rest).size < _FEWEST or np.median(np.abs(second_differences(rest))) < _NOISY * resolution(series):
        return ""
    chance = _chance(series, run, driven)
    if chance <= limit:
        return f"by chance {chance:.1g}"
    return "left by the largest step of the file" if leaps else ""


def _chance(series: Floats, run: Run, driven: bool) -> float:
    """Return how probable a run of this length is somewhere in the column; ``driven``: whatever the level."""
    level = np.inf if driven else 1.2 * abs(float(series[run.first]))
    alike = np.maximum(np.abs(series[1:]), np.abs(series[:-1])) <= level
    alike[max(run.first - 1, 0) : run.last + 1] = False
    equal = (np.diff(series) == 0)[alike]
    if equal.size < _FEWEST:
        return 1.0
    noise = chance_of_equal(np.delete(series, range(run.first, run.last + 1)))
    share = max((np.sum(equal) + 1.0) / (equal.size + 2.0), 0.0 if driven else noise)
    return float(min(1.0, series.size * share ** (run.size - 1)))


def _leaps_on_release(series: Floats, run: Run) -> bool:
    """Return whether the readings go into the run by an ordinary step and leave it by one larger than any other."""
    if run.first < 1 or run.last + 1 >= series.size:
        return False
    steps = np.abs(np.diff(series))
    if steps[run.first - 1] < _MOVING * resolution(series):
        return False
    largest = float(np.max(np.delete(steps, [run.first - 1, run.last])))
    return bool(steps[run.first - 1] <= largest and steps[run.last] > _LEAP * largest)


def _others_move(readings: Readings, column: str, rows: np.ndarray) -> bool:
    """Return whether the rows show that the bench went on while ``column`` stood."""
    table = readings.table
    drivers = {"frequency_mhz": ("drive_v", "optical_power_mw"), "drive_v": ("frequency_mhz",)}
    if column in drivers:
        return any(_moves(numbers(table[c]), rows) for c in _DRIVEN[column] if c in table.columns)
    others = [c for c in QUANTITIES if c in table.columns and c not in (column, "time_s")]
    return not others or any(np.any(np.diff(numbers(table[c])[rows]) != 0) for c in others)


def _moves(values: Floats, rows: np.ndarray) -> bool:
    """Return whether a column moves in these rows as it does elsewhere."""
    inside = np.abs(np.diff(values[rows]))
    elsewhere = np.abs(np.diff(np.delete(values, rows[1:])))
    elsewhere = elsewhere[np.isfinite(elsewhere)]
    return bool(elsewhere.size and inside.size and np.mean(inside) > _MOVES * np.median(elsewhere) > 0)


def _frozen(readings: Readings, column: str, rows: np.ndarray, evidence: str) -> Suspicion:
    quantity = QUANTITIES[column]
    value = float(readings.table[column].iloc[int(rows[0])])
    return Suspicion(
        f"a frozen meter: {quantity.name.lower()} stands still", lines_of(readings, rows.tolist()),
        f"{value:.7g} {quantity.unit} in {rows.size} rows on end, {evidence}",
        "the meter held its last reading, lost its connection, or was read faster than it measures",
        "pass these lines over, or measure them again", tuple(rows.tolist()), unusable=True,
    )  # fmt: skip
