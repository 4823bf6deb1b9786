"""Read light behind a turning analyser."""

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

__all__ = ["read_analyser"]

_COLUMNS = ("analyser_deg", "optical_power_mw")


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
    readings = read_bare_table(path, columns=columns, layout=layout, label=label, required=_COLUMNS)
    readings = add_u(readings, "analyser_deg", bench.rotator.u_analyser_deg)
    zero = shared(bench, "zero of the rotator", "analyser_deg", "offset")
    readings = noted(replace(readings, common=readings.common + zero), *bench.rotator.assumed)
    return add_optical_errors(readings, bench)
