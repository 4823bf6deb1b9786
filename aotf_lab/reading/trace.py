"""Read a saved trace of an oscilloscope."""

from __future__ import annotations

import os

from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_trace"]


def read_trace(
    path: str | os.PathLike[str], columns: ColumnMap | None = None, *, layout: Layout | None = None
) -> Readings:
    """Return one row per sample: ``time_s`` and ``signal_v`` (V, as the scope shows it), ``file`` and ``line``.

    Time may be a column or follow from a sample interval above the headings, and the signal may be counts of a
    converter with scale and offset. Raises ``ReadingError``.
    """
    return read_bare_table(path, columns=columns, layout=layout, required=("time_s", "signal_v"))
