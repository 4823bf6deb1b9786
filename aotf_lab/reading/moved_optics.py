"""Read light against what was moved in its way: an analyser that turns, a knife edge that crosses the beam."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace

from aotf_lab.estimation.causes import CommonError
from aotf_lab.reading.accuracy import add_optical_errors, add_u, noted, shared
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.optics_tools import Rotator, Stage
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_analyser", "read_knife_edge"]


def read_analyser(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
    label: str | Sequence[str] = (),
) -> Readings:
    """Return the analyser's angle and the light behind it, one row per reading, with their errors.

    Columns ``analyser_deg`` and ``optical_power_mw`` with their u, and where the file has them
    ``incident_power_mw`` (a monitor of the laser), ``dark_power_mw``, ``time_s``, ``label``; ``file`` and ``line``.
    Shared errors: zero of the rotator, power meter gain. ``label`` names lines that have a column each.
    Raises ``ReadingError``.
    """
    bench = instruments or UNSTATED
    readings = _bare(path, "analyser_deg", columns, layout, label)
    zero = shared(bench, "zero of the rotator", "analyser_deg", "offset")
    return _with_errors(readings, "analyser_deg", bench.rotator.u_analyser_deg, zero, bench.rotator, bench)


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
    readings = _bare(path, "position_mm", columns, layout, label)
    scale = shared(bench, "scale of the stage", "position_mm")
    return _with_errors(readings, "position_mm", bench.stage.u_position_mm, scale, bench.stage, bench)


def _bare(
    path: str | os.PathLike[str],
    moved: str,
    columns: ColumnMap | None,
    layout: Layout | None,
    label: str | Sequence[str],
) -> Readings:
    required = (moved, "optical_power_mw")
    return read_bare_table(path, columns=columns, layout=layout, label=label, required=required)


def _with_errors(
    readings: Readings, moved: str, u: float, common: tuple[CommonError, ...], tool: Rotator | Stage, bench: Instruments
) -> Readings:
    """Return the readings with the scatter ``u`` and the shared error of the column ``moved``, and those of light."""
    readings = add_u(readings, moved, u)
    readings = noted(replace(readings, common=readings.common + common), *tool.assumed)
    return add_optical_errors(readings, bench)
