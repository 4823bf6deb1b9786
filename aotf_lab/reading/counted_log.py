"""Read a log of the oscillator's frequency at one drive: its warm-up, or what supply and load do to it."""

from __future__ import annotations

import os

from aotf_lab.reading.accuracy import add_drive_errors, add_frequency_errors
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_counted_log"]


def read_counted_log(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
) -> Readings:
    """Return ``frequency_mhz`` with its u, one row per reading, and what was logged beside it.

    That may be ``time_s``, ``temperature_c``, ``supply_v``, ``drive_v`` with its u, ``load``; ``file`` and ``line``.
    Shared errors: counter time base, and those of the voltmeter where there is a drive. Raises ``ReadingError``.
    """
    bench = instruments or UNSTATED
    readings = read_bare_table(path, columns=columns, layout=layout, required=("frequency_mhz",))
    if "drive_v" in readings.table.columns:
        readings = add_drive_errors(readings, bench)
    return add_frequency_errors(readings, bench)
