"""Read how deep light is modulated, against the frequency of modulation."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_modulation"]

Floats = NDArray[np.float64]


def read_modulation(
    path: str | os.PathLike[str], columns: ColumnMap | None = None, *, layout: Layout | None = None
) -> Readings:
    """Return one row per reading: ``modulation_khz``, ``depth``, ``u_depth`` where u are stated; ``file``, ``line``.

    The depth is that column of the file, or (most - least) / (most + least) of the light ``most_v`` and ``least_v`` at
    a detector, dark subtracted; it keeps those columns. Raises ``ReadingError`` for a file with neither, a frequency
    not above zero, least light above the most, and light whose sum is not above zero.
    """
    readings = read_bare_table(
        path, columns=columns, layout=layout, required=("modulation_khz",), wanted=("depth", "most_v", "least_v")
    )
    frequency = readings.table["modulation_khz"].to_numpy(dtype=float)
    _refuse(readings, frequency, frequency > 0, "modulation frequency", "kHz", "above 0 kHz")
    if "depth" in readings.table.columns:
        needed = ("modulation_khz", "depth")
        return read_bare_table(path, columns=columns, layout=layout, required=needed)
    if not {"most_v", "least_v"} <= set(readings.table.columns):
        raise ReadingError(
            "modulation without a depth", where=readings.headings_place,
            found=Said(", ".join(map(str, readings.table.columns))),
            allowed="a column such as 'Depth', or both 'Most (V)' and 'Least (V)'",
            cure='map it: columns = { depth = "..." }',
        )  # fmt: skip
    both = ("modulation_khz", "most_v", "least_v")
    readings = read_bare_table(path, columns=columns, layout=layout, required=both)
    most, least = (readings.table[c].to_numpy(dtype=float) for c in ("most_v", "least_v"))
    _refuse(readings, least, least <= most, "least light above the most", "V", "no more than the most light")
    _refuse(readings, most + least, most + least > 0, "most and least light together", "V", "above 0 V")
    table = readings.table.assign(depth=(most - least) / (most + least))
    if {"u_most_v", "u_least_v"} <= set(table.columns):
        of = [table[c].to_numpy(dtype=float) for c in ("u_most_v", "u_least_v")]
        table = table.assign(u_depth=2.0 * np.hypot(least * of[0], most * of[1]) / (most + least) ** 2)
    return replace(readings, table=table)


def _refuse(readings: Readings, values: Floats, good: NDArray[np.bool_], what: str, unit: str, allowed: str) -> None:
    if not np.all(good):
        row = int(np.argmin(good))
        raise ReadingError(
            what, where=readings.place(row), found=Said(f"{values[row]:.6g} {unit}"), allowed=allowed,
            cure="correct the column's unit in a layout, or map another column",
        )  # fmt: skip
