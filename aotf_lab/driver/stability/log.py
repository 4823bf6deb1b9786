"""A log of the oscillator at one drive as arrays, checked for what no law can be drawn through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["Log", "column_of", "log_of"]

_HELD_V = 0.02
_HELD_U = 8.0
_FAR = 0.2
"""Share of the middle frequency from which a count is no wander of an oscillator."""
_STANDS_OUT = 8.0
"""Robust standard deviations from the mean of its neighbours at which a count is left out."""
_SHOWN = 5


@dataclass(frozen=True)
class Log:
    """Rows of a log in order of time, arrays (n,); ``row`` is the position in ``readings``.

    ``u_frequency_mhz`` is the stated u of one reading (median), NaN where nobody states it. ``left_out`` are rows that
    stand out from both of their neighbours.
    """

    readings: Readings
    row: NDArray[np.intp]
    time_s: FloatArray
    frequency_mhz: FloatArray
    temperature_c: FloatArray | None
    u_frequency_mhz: float
    left_out: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.row)

    def place(self, k: int) -> str:
        """Return ``file:line`` of row ``k``."""
        return self.readings.place(int(self.row[k]))

    def places_left_out(self) -> str:
        """Return where the rows that were left out stand."""
        more = ", ..." if len(self.left_out) > _SHOWN else ""
        return ", ".join(self.readings.place(int(k)) for k in self.left_out[:_SHOWN]) + more


def column_of(readings: Readings, name: str) -> FloatArray:
    """Return column ``name`` (n,) as floats, NaN where a cell is empty."""
    return np.asarray(readings.table[name].to_numpy(dtype=float, na_value=np.nan))


def log_of(readings: Readings, fewest: int, what: str, *, steady: bool = True) -> Log:
    """Return the rows of ``readings`` with a frequency; columns as ``fit_warm_up`` says.

    ``steady`` is False where something was changed from row to row: no row is then left out for its neighbours' sake.

    Raises ``ReadingsError`` for a missing column, fewer than ``fewest`` rows, time that does not rise, a frequency or
    a u that is not above zero, or a drive that was not held; the message names the row.
    """
    readings.require("time_s", "frequency_mhz")
    time_s, frequency = column_of(readings, "time_s"), column_of(readings, "frequency_mhz")
    rows = np.flatnonzero(np.isfinite(time_s) & np.isfinite(frequency))
    _require_rows(readings, rows, fewest, what)
    _require_rising(readings, rows, time_s)
    _require_positive(readings, rows, frequency)
    _require_held(readings, rows)
    out = rows[_stand_out(frequency[rows], steady)]
    kept = np.setdiff1d(rows, out)
    _require_rows(readings, kept, fewest, what)
    return Log(
        readings, kept, time_s[kept], frequency[kept], _temperature(readings, kept), _stated_u(readings, kept), out
    )


def _temperature(readings: Readings, rows: NDArray[np.intp]) -> FloatArray | None:
    """Return the temperature, with gaps filled between its neighbours, None where fewer than half have one."""
    if "temperature_c" not in readings.table.columns:
        return None
    values = column_of(readings, "temperature_c")[rows]
    known = np.flatnonzero(np.isfinite(values))
    if len(known) < len(rows) / 2:
        return None
    time_s = column_of(readings, "time_s")[rows]
    return np.interp(time_s, time_s[known], values[known])


def _stated_u(readings: Readings, rows: NDArray[np.intp]) -> float:
    if "u_frequency_mhz" not in readings.table.columns:
        return float("nan")
    u = column_of(readings, "u_frequency_mhz")[rows]
    bad = np.flatnonzero(u <= 0)
    if len(bad):
        raise ReadingsError(
            "u_frequency_mhz cannot be used", where=readings.place(int(rows[bad[0]])), found=float(u[bad[0]]),
            allowed="a standard uncertainty above zero, or an empty cell where nobody knows it",
            cure="correct the cell, or leave it empty",
        )  # fmt: skip
    return float(np.median(u)) if np.isfinite(u).all() else float("nan")


def _require_rows(readings: Readings, rows: NDArray[np.intp], fewest: int, what: str) -> None:
    if len(rows) < fewest:
        raise ReadingsError(
            f"too few readings for {what}", where=", ".join(s.name for s in readings.sources), found=len(rows),
            allowed=f"at least {fewest} with a time and a frequency", cure="log longer, or more often",
        )  # fmt: skip


def _require_rising(readings: Readings, rows: NDArray[np.intp], time_s: FloatArray) -> None:
    steps = np.diff(time_s[rows])
    if (steps > 0).all():
        return
    k = int(np.argmin(steps > 0))
    raise ReadingsError(
        "the time does not rise from row to row", where=readings.place(int(rows[k + 1])),
        found=Said(f"{time_s[rows[k + 1]]:.6g} s after {time_s[rows[k]]:.6g} s"), allowed="a later time in every row",
        cure="split the file where the clock was set back, or save the times with more digits",
    )  # fmt: skip


def _require_positive(readings: Readings, rows: NDArray[np.intp], frequency: FloatArray) -> None:
    bad = rows[frequency[rows] <= 0]
    if len(bad):
        raise ReadingsError(
            "frequency_mhz cannot be used", where=readings.place(int(bad[0])), found=float(frequency[bad[0]]),
            allowed="a frequency above zero in MHz", cure="leave the row out of the table",
        )  # fmt: skip


def _require_held(readings: Readings, rows: NDArray[np.intp]) -> None:
    """Refuse a log whose drive voltage was changed."""
    if "drive_v" not in readings.table.columns:
        return
    drive = column_of(readings, "drive_v")[rows]
    u = column_of(readings, "u_drive_v")[rows] if "u_drive_v" in readings.table.columns else np.array([np.nan])
    noise = float(np.nanmedian(u)) if np.isfinite(u).any() else 0.0
    limit = max(_HELD_V, _HELD_U * noise)
    gap = np.abs(drive - np.nanmedian(drive)) if np.isfinite(drive).any() else np.zeros(1)
    k = int(np.nanargmax(gap))
    if gap[k] > limit:
        raise ReadingsError(
            "the drive voltage was not held", where=readings.place(int(rows[k])),
            found=Said(f"{drive[k]:.4g} V, and {np.nanmedian(drive):.4g} V in the middle of the rows"),
            allowed=f"one drive, within {1e3 * limit:.3g} mV", cure="use the rows of one drive, or log at one drive",
        )  # fmt: skip


def _stand_out(frequency: FloatArray, steady: bool) -> NDArray[np.intp]:
    """Return the rows that are far from the middle, or from the mean of both neighbours though these agree."""
    far = np.abs(frequency / np.median(frequency) - 1.0) > _FAR
    near = np.flatnonzero(~far)
    if len(near) < 5 or not steady:
        return np.flatnonzero(far)
    f = frequency[near]
    gap = np.zeros(len(f))
    gap[1:-1] = f[1:-1] - 0.5 * (f[:-2] + f[2:])
    gap[0], gap[-1] = f[0] - (2 * f[1] - f[2]), f[-1] - (2 * f[-2] - f[-3])
    spread = 1.4826 * float(np.median(np.abs(gap - np.median(gap))))
    size = np.abs(gap)
    peak = (size >= np.append(size[1:], 0.0)) & (size >= np.append(0.0, size[:-1]))
    peak[[0, -1]] = False
    single = peak & (size > _STANDS_OUT * spread) if spread > 0 else np.zeros(len(f), dtype=bool)
    return np.sort(np.concatenate([np.flatnonzero(far), near[single]]))
