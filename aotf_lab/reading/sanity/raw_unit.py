"""What one unit of the raw file is in bench units."""

from __future__ import annotations

from aotf_lab.errors import ReadingError
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.units import parse_unit, to_bench

__all__ = ["bench_per_raw"]


def bench_per_raw(readings: Readings, column: str) -> float:
    """Return the factor from the unit in which the file shows ``column`` to its bench unit, 1 where nobody says it.

    The receipts name the unit; a logarithmic one (dBm) has no factor and gives 1.
    """
    for receipt in readings.receipts:
        for c in receipt.columns:
            if c.meaning == column and c.unit:
                try:
                    unit = parse_unit(c.unit)
                    return to_bench(1.0, unit, column) if unit.kind != "power level" else 1.0
                except ReadingError:
                    return 1.0
    return 1.0
