"""One table for each file: what was read in different ways must not share its errors."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import pandas as pd

from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["separate_files"]


def separate_files(tables: Sequence[Readings | pd.DataFrame]) -> Iterator[Readings]:
    """Yield the readings of each file, also of tables that were joined.

    Joining keeps every shared error of every file; the receipt of a file says whether its own level was read in volts
    rms or peak to peak, and only that error of harmonics stays with it.
    """
    for table in tables:
        readings = as_readings(table)
        files = list(readings.table["file"].unique()) if "file" in readings.table.columns else []
        if len(files) < 2:
            yield readings
            continue
        for file in files:
            yield _of_file(readings, str(file))


def _of_file(readings: Readings, file: str) -> Readings:
    rows = readings.table[readings.table["file"] == file].reset_index(drop=True)
    receipts = tuple(r for r in readings.receipts if r.file == file)
    common = readings.common
    if receipts:
        swing = any(c.meaning == "rf_level_vrms" and "pp" in c.unit for r in receipts for c in r.columns)
        own = f"harmonics ({'peak to peak' if swing else 'rms'})"
        common = tuple(e for e in common if not e.name.startswith("harmonics (") or e.name == own)
    return Readings(rows, common, receipts, tuple(s for s in readings.sources if s.name == file))
