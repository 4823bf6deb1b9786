"""Read a log of drive voltage and counted frequency."""

from __future__ import annotations

import os

from aotf_lab.reading.accuracy import add_drive_errors, add_frequency_errors
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_counter"]


def read_counter(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
) -> Readings:
    """Return drive voltage and frequency, one row per reading, with their errors.

    Columns: ``drive_v``, ``u_drive_v`` (V), ``frequency_mhz``, ``u_frequency_mhz`` (MHz; NaN where
    the scatter is not stated), and where the file has them ``direction`` ("up", "down" or ""),
    ``time_s``, ``temperature_c``, ``supply_v``, ``repeat`` (of readings side by side); ``file`` and ``line``.
    Shared errors: counter time base, voltmeter gain and offset. ``layout`` states what is not to be found
    from the file. Raises ``ReadingError``.
    """
    bench = instruments or UNSTATED
    bare = read_bare_table(path, columns=columns, layout=layout, required=("drive_v", "frequency_mhz"))
    return add_frequency_errors(add_drive_errors(bare, bench), bench)
