"""Read a saved trace of an oscilloscope."""

from __future__ import annotations

import os

from aotf_lab.errors import ReadingError, Said
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
    converter with scale and offset. Rows without a reading, or with an over-range mark, are rejected and listed in
    the receipt. Raises ``ReadingError``, also where neither a column nor an interval gives the time.
    """
    readings = read_bare_table(path, columns=columns, layout=layout, required=("signal_v",), wanted=("time_s",))
    if "time_s" not in readings.table.columns:
        raise ReadingError(
            "a trace without time", where=readings.headings_place,
            found=Said(", ".join(repr(c.header) for c in readings.receipts[-1].columns)),
            allowed="a column of time, or a line above the headings such as 'Sample interval: 0.5 ns'",
            cure='state it in a layout: settings = { "sample interval" = "0.5 ns" }',
        )  # fmt: skip
    if readings.table["time_s"].isna().any():  # a gap there is a row to be rejected
        return read_bare_table(path, columns=columns, layout=layout, required=("signal_v", "time_s"))
    return readings
