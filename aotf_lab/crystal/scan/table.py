"""The rows of a scan in the order in which the meter saw them, from readings of any shape."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.crystal.scan.columns import LOG_COLUMNS, numbers, optional, stated_ranges, uncertainty, with_power
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["ScanTable", "scan_table"]

MIN_READINGS = 8
MAX_READINGS = 1500
_WAYS = {"up": 1.0, "down": -1.0, "1": 1.0, "+1": 1.0, "-1": -1.0, "1.0": 1.0, "-1.0": -1.0, "+1.0": 1.0}
_UNNAMED = {"", "nan", "none", "<na>"}


@dataclass(frozen=True)
class ScanTable:
    """A scan as arrays (n,), rows in the order in which the meter saw them.

    ``row`` is each one's position in ``readings.table``. ``lapse`` is the time since the row before over
    ``step_s`` (over one step where no time was logged), infinite at the start of each run. ``clock`` is the time
    in such steps through all runs. ``direction`` is +1 for a row reached from below, -1 from above. ``step_mhz`` is
    the typical distance of neighbours, ``pace_mhz`` the frequency travelled per reading. ``mislabelled`` counts the
    rows whose stated direction contradicts the order of time.
    ``ranges`` (n,) numbers the meter's range where that is stated, 0 that of the highest reading; ``log`` says that the
    power was logged in dB.
    """

    readings: Readings
    row: NDArray[np.intp]
    frequency_mhz: FloatArray
    power_mw: FloatArray
    u_power_mw: FloatArray | None
    u_frequency_mhz: FloatArray | None
    light: FloatArray
    u_light: FloatArray
    lapse: FloatArray
    clock: FloatArray
    direction: FloatArray
    step_mhz: float
    pace_mhz: float
    step_s: float | None
    mislabelled: int
    ranges: NDArray[np.intp] | None
    log: bool

    @property
    def places(self) -> tuple[str, ...]:
        """Where each row comes from."""
        places = self.readings.places
        return tuple(places[r] for r in self.row)

    @property
    def one_way(self) -> bool:
        """Whether (nearly) all steps go the same way."""
        return bool(np.mean(self.direction > 0) < 0.1 or np.mean(self.direction < 0) < 0.1)

    def in_table_order(self, values: FloatArray) -> FloatArray:
        """Return ``values`` (n,) sorted back to the rows of ``readings.table``."""
        result = np.empty_like(values)
        result[self.row] = values
        return result


def scan_table(readings: Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]) -> ScanTable:
    """Return the rows of ``readings`` as a ``ScanTable``; see ``fit_scan`` for the columns.

    Raises ``ReadingsError`` for a missing column, a reading that is not a number, an uncertainty that is not
    positive, a direction with another name, too few rows, or all rows at a few frequencies.
    """
    parts = [as_readings(r) for r in ([readings] if isinstance(readings, Readings | pd.DataFrame) else readings)]
    log = all(LOG_COLUMNS[0] in p.table or LOG_COLUMNS[1] in p.table for p in parts)
    parts = [with_power(part) for part in parts]
    for part in parts:
        part.require("frequency_mhz", "optical_power_mw")
    joined = join_readings(parts)
    frequency, power = numbers(joined, "frequency_mhz"), numbers(joined, "optical_power_mw")
    _require_enough(joined, frequency)
    way = _ways(joined)
    time_s = optional(joined, "time_s")
    row, first = _order(_runs(parts, joined), way, time_s, frequency)
    lapse, step_s = _lapse(first, None if time_s is None else time_s[row])
    direction, travelled = _direction(frequency[row], first)
    step_mhz = float(np.median(travelled[travelled > 0]))
    inside = travelled[~first]
    stated = way[row] if way is not None else np.zeros(len(row))
    light, u_light = _light(joined)
    ranges = stated_ranges(joined, power)
    return ScanTable(
        joined,
        row,
        frequency[row],
        power[row],
        _reordered(uncertainty(joined, "optical_power_mw"), row),
        _reordered(uncertainty(joined, "frequency_mhz"), row),
        light[row],
        u_light[row],
        lapse,
        np.cumsum(np.where(np.isfinite(lapse), lapse, 1.0)) - 1.0,
        direction,
        step_mhz,
        float(np.mean(np.minimum(inside, 3 * step_mhz))),
        step_s,
        int(np.sum((stated * direction < 0) & (travelled > 0) & ~first)),
        None if ranges is None else ranges[row],
        log and bool(np.all(power > 0)),
    )


def _reordered(values: FloatArray | None, row: NDArray[np.intp]) -> FloatArray | None:
    return None if values is None else values[row]


def _require_enough(readings: Readings, frequency: FloatArray) -> None:
    where = ", ".join(s.name for s in readings.sources)
    if not MIN_READINGS <= len(frequency) <= MAX_READINGS:
        few = len(frequency) < MIN_READINGS
        raise ReadingsError(
            f"too {'few' if few else 'many'} readings for a scan", where=where, found=len(frequency),
            allowed=f"{MIN_READINGS} to {MAX_READINGS}",
            cure="measure 31 points over four passbands, up and down" if few else "fit one scan at a time",
        )  # fmt: skip
    different = len(np.unique(frequency))
    if different < 6:
        raise ReadingsError(
            "too few different frequencies for a scan", where=where, found=different, allowed="6 or more",
            cure="step the frequency through the peak, four steps or more over its width",
        )  # fmt: skip


def _ways(readings: Readings) -> FloatArray | None:
    """Return +1, -1 or 0 (not stated) for each row, or None where no row states it."""
    if "direction" not in readings.table.columns:
        return None
    words = [str(w).strip().lower() for w in readings.table["direction"].tolist()]
    known = np.array([0.0 if w in _UNNAMED else _WAYS.get(w, np.nan) for w in words])
    if np.isnan(known).any():
        row = int(np.argmax(np.isnan(known)))
        raise ReadingsError(
            "direction of a scan", where=readings.place(row), found=readings.table["direction"].iloc[row],
            allowed="up, down, +1 or -1", cure="rename it, or leave the column out: the order of rows then tells",
        )  # fmt: skip
    return known if known.any() else None


def _runs(parts: Sequence[Readings], joined: Readings) -> NDArray[np.intp]:
    """Return a number (n,) that is the same for rows of one part and file."""
    part = np.repeat(np.arange(len(parts)), [len(p.table) for p in parts])
    if "file" not in joined.table.columns:
        return part
    return _numbered(zip(part.tolist(), joined.table["file"].tolist(), strict=True))


def _numbered(keys: Iterable[Hashable]) -> NDArray[np.intp]:
    """Return for each key its position among the different ones, in order of appearance."""
    seen: dict[Hashable, int] = {}
    return np.array([seen.setdefault(key, len(seen)) for key in keys])


def _order(
    run: NDArray[np.intp], way: FloatArray | None, time_s: FloatArray | None, frequency: FloatArray
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return the order in which the meter saw the rows, and which of them starts a run.

    With time, a run is a file whose clock goes on. A clock that often goes back, or no clock at all, means that the
    rows were sorted by something else: a run is then a file and a stated direction.
    """
    if time_s is not None and np.sum((np.diff(run) == 0) & (np.diff(time_s) < 0)) <= 0.2 * len(run):
        return np.arange(len(run)), np.concatenate([[True], (np.diff(run) != 0) | (np.diff(time_s) < 0)])
    way = np.zeros(len(run)) if way is None else way
    leg = _numbered(zip(run.tolist(), way.tolist(), strict=True))
    along = np.where(way == 0, np.arange(len(run)), way * frequency) if time_s is None else time_s
    row = np.lexsort((along, leg))
    return row, np.concatenate([[True], np.diff(leg[row]) != 0])


def _lapse(first: NDArray[np.bool_], time_s: FloatArray | None) -> tuple[FloatArray, float | None]:
    """Return the time since the row before over the median one, infinite at starts, and the median (s)."""
    if time_s is None:
        return np.where(first, np.inf, 1.0), None
    gaps = np.diff(time_s, prepend=time_s[0])
    inside = ~first
    if np.any(gaps[inside] <= 0):  # a clock coarser than the steps: spread the rows evenly over each run
        for rows in np.split(np.arange(len(first)), np.flatnonzero(first)[1:]):
            gaps[rows] = (time_s[rows[-1]] - time_s[rows[0]]) / max(len(rows) - 1, 1)
    step_s = float(np.median(gaps[inside])) if inside.any() else 0.0
    if not step_s > 0:
        return np.where(first, np.inf, 1.0), None
    return np.where(first, np.inf, gaps / step_s), step_s


def _direction(frequency: FloatArray, first: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """Return the way each row was reached (a first row: left), and how far it lay (MHz)."""
    moves = np.diff(frequency, prepend=frequency[0])
    moves[first] = 0.0
    sign = np.sign(moves)
    for rows in np.split(np.arange(len(frequency)), np.flatnonzero(first)[1:]):
        nonzero = rows[sign[rows] != 0]
        if nonzero.size:
            earlier = np.searchsorted(nonzero, rows, side="right") - 1
            sign[rows] = sign[nonzero[np.maximum(earlier, 0)]]
    return sign, np.abs(moves)


def _light(readings: Readings) -> tuple[FloatArray, FloatArray]:
    """Return the incident light over its mean, and its relative standard uncertainty; ones and zeros without it."""
    incident = optional(readings, "incident_power_mw")
    if incident is None or not np.all(incident > 0):
        return np.ones(len(readings.table)), np.zeros(len(readings.table))
    u = uncertainty(readings, "incident_power_mw")
    return incident / incident.mean(), np.zeros_like(incident) if u is None else u / incident
