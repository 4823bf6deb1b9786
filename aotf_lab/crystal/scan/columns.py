"""Columns of a scan as plain numbers: power, linear or from a log scale, and the ranges of the power meter."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.optical_level import LOG_COLUMNS, with_power_of_level
from aotf_lab.reading.readings import Readings

__all__ = ["LOG_COLUMNS", "numbers", "optional", "stated_ranges", "uncertainty", "with_power"]

MOST_RANGES = 8
_UNNAMED = {"", "nan", "none", "<na>"}


def with_power(readings: Readings) -> Readings:
    """Return the readings with ``optical_power_mw``, and its u, from a column in dB where they have only that.

    Raises ``ReadingsError`` for a level that is not a number, and for a u of it that is not above zero.
    """
    column = next((c for c in LOG_COLUMNS if c in readings.table.columns), None)
    if column is not None:
        numbers(readings, column)
        uncertainty(readings, column)
    return with_power_of_level(readings)


def stated_ranges(readings: Readings, power_mw: FloatArray) -> NDArray[np.intp] | None:
    """Return the number (n,) of the meter's range by the column ``range``, 0 that of the highest reading.

    None where there is no such column or one range only. Raises ``ReadingsError`` for more than eight ranges, and for
    a range without a name among others that have one.
    """
    if "range" not in readings.table.columns:
        return None
    words = [str(w).strip().lower() for w in readings.table["range"].tolist()]
    named = [w not in _UNNAMED for w in words]
    if not any(named):
        return None
    if not all(named):
        raise ReadingsError(
            "range of the power meter not stated", where=readings.place(named.index(False)), found="",
            allowed="a range in every row, or in none", cure="fill in the range, or leave the column out",
        )  # fmt: skip
    order = dict.fromkeys([words[int(np.argmax(power_mw))], *words])
    if len(order) > MOST_RANGES:
        raise ReadingsError(
            "too many ranges of the power meter", where=readings.place(0), found=len(order),
            allowed=f"up to {MOST_RANGES}", cure="write the range into the column range, not the reading",
        )  # fmt: skip
    place = {word: k for k, word in enumerate(order)}
    return np.array([place[w] for w in words]) if len(order) > 1 else None


def _floats(readings: Readings, column: str) -> FloatArray:
    """Return a column as floats, NaN where it holds something else."""
    values = readings.table[column]
    if pd.api.types.is_numeric_dtype(values):
        return values.to_numpy(dtype=float)
    return np.asarray(pd.to_numeric(values, errors="coerce"), dtype=float)


def numbers(readings: Readings, column: str) -> FloatArray:
    """Return a column as floats; raises ``ReadingsError`` for one that is not a finite number."""
    values = _floats(readings, column)
    if not np.isfinite(values).all():
        row = int(np.argmin(np.isfinite(values)))
        raise ReadingsError(
            f"{column} is not a number", where=readings.place(row), found=readings.table[column].iloc[row],
            allowed="a finite number", cure="correct the cell, or leave its row out",
        )  # fmt: skip
    return values


def optional(readings: Readings, column: str) -> FloatArray | None:
    """Return a column where it is there and complete, else None."""
    if column not in readings.table.columns:
        return None
    values = _floats(readings, column)
    return values if np.isfinite(values).all() else None


def uncertainty(readings: Readings, column: str) -> FloatArray | None:
    """Return the column's u where it is complete, else None; raises ``ReadingsError`` unless above zero."""
    u = optional(readings, f"u_{column}")
    if u is not None and not np.all(u > 0):
        row = int(np.argmin(u > 0))
        raise ReadingsError(
            f"standard uncertainty u_{column}", where=readings.place(row), found=float(u[row]), allowed="above zero",
            cure="state the accuracy of the instrument, or leave it out to have it estimated from the scatter",
        )  # fmt: skip
    return u
