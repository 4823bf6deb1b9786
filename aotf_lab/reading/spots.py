"""Read where the diffracted spot falls on a screen, from the undiffracted one."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.accuracy import add_frequency_errors, add_u, noted, shared
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_spots"]


def read_spots(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
    distance_mm: float | None = None,
    line: str | None = None,
) -> Readings:
    """Return the spots, one row per reading, with their errors.

    Columns ``spot_mm`` (from the undiffracted spot to the diffracted one), ``distance_mm`` (crystal to screen),
    ``frequency_mhz``, with their u, and ``label`` (the laser line) where the file or ``line`` says it; ``file`` and
    ``line``. A heading such as "Position (mm)" is the spot's where no other is. ``distance_mm`` serves a file that
    does not state the distance. Shared errors: the mark of the undiffracted spot, distance to the screen,
    counter time base. Raises ``ReadingError``, also where no distance is stated or one is not above zero.
    """
    bench = instruments or UNSTATED
    wanted = (("spot_mm", "position_mm"),)
    readings = read_bare_table(path, columns=columns, layout=layout, required=("frequency_mhz",), wanted=wanted)
    readings = _with_spot(readings, path, columns, layout)
    readings = _with_distance(readings, distance_mm)
    if line is not None and "label" not in readings.table.columns:
        readings = replace(readings, table=readings.table.assign(label=line))
    readings = add_u(readings, "spot_mm", bench.ruler.u_spot_mm)
    mark = shared(bench, "mark of the undiffracted spot", "spot_mm", "offset")
    distance = shared(bench, "distance to the screen", "distance_mm", "offset")
    readings = noted(replace(readings, common=readings.common + mark + distance), *bench.ruler.assumed)
    return add_frequency_errors(readings, bench)


def _with_spot(
    readings: Readings, path: str | os.PathLike[str], columns: ColumnMap | None, layout: Layout | None
) -> Readings:
    """Return the readings with the only position of the file as that of the spot."""
    table = readings.table
    if "spot_mm" in table.columns:
        return readings
    if "position_mm" not in table.columns:
        read_bare_table(path, columns=columns, layout=layout, required=("frequency_mhz", "spot_mm"))  # raises
    names = {"position_mm": "spot_mm", "u_position_mm": "u_spot_mm"}
    return noted(replace(readings, table=table.rename(columns=names)), "the position is read as that of the spot")


def _with_distance(readings: Readings, distance_mm: float | None) -> Readings:
    table = readings.table
    if "distance_mm" not in table.columns:
        if distance_mm is None:
            raise ReadingError(
                "spots on a screen whose distance is not stated", where=readings.headings_place,
                found=Said(", ".join(map(str, table.columns))), allowed="a column such as 'Distance (mm)'",
                cure="state distance_mm in the [[file]] of session.toml: from the crystal to the screen",
            )  # fmt: skip
        return replace(readings, table=table.assign(distance_mm=distance_mm))
    distance = table["distance_mm"].to_numpy(dtype=float)
    if not np.all(distance > 0):
        row = int(np.argmin(distance > 0))
        raise ReadingError(
            "distance to the screen not above zero", where=readings.place(row), found=Said(f"{distance[row]:.6g} mm"),
            allowed="above 0 mm", cure="correct the column's unit in a layout, or map another column",
        )  # fmt: skip
    return readings
