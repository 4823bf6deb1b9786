"""Read light past a knife edge that moves through the beam."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace

from aotf_lab.reading.accuracy import add_optical_errors, add_u, noted, shared
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_knife_edge"]

_COLUMNS = ("position_mm", "optical_power_mw")


def read_knife_edge(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
    label: str | Sequence[str] = (),
) -> Readings:
    """Return the edge's position and the light past it, one row per reading in order of time, with their errors.

    Columns ``position_mm`` and ``optical_power_mw`` with their u, and where the file has them ``direction``,
    ``incident_power_mw`` (a monitor of the laser), ``dark_power_mw``, ``time_s``, ``label``; ``file`` and ``line``.
    Shared errors: scale of the stage, power meter gain. ``label`` names lines that have a column each.
    Raises ``ReadingError``.
    """
    bench = instruments or UNSTATED
    readings = read_bare_table(path, columns=columns, layout=layout, label=label, required=_COLUMNS)
    readings = add_u(readings, "position_mm", bench.stage.u_position_mm)
    scale = shared(bench, "scale of the stage", "position_mm")
    readings = noted(replace(readings, common=readings.common + scale), *bench.stage.assumed)
    return add_optical_errors(readings, bench)
