"""Give the columns of a table the errors of the instruments that showed them."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.causes import CommonError
from aotf_lab.reading.instruments import Instruments
from aotf_lab.reading.readings import Readings

__all__ = ["add_drive_errors", "add_frequency_errors", "add_optical_errors", "add_u", "noted", "shared"]

OPTICAL_COLUMNS = ("optical_power_mw", "incident_power_mw", "dark_power_mw")


def shared(
    instruments: Instruments,
    cause: str,
    column: str,
    kind: Literal["relative", "offset"] = "relative",
    sensitivity: float = 1.0,
) -> tuple[CommonError, ...]:
    """Return the error of ``column`` by the named cause: one, or none when its size is stated as zero."""
    variable = instruments.causes[cause]
    return () if variable is None else (CommonError(cause, column, kind, variable, sensitivity),)


def add_u(readings: Readings, column: str, u: float | NDArray[np.float64]) -> Readings:
    """Return the readings with ``u`` (scalar, or one per row) in each row that states no u of its own."""
    table = readings.table.copy()
    name = f"u_{column}"
    own = table[name].to_numpy(dtype=float) if name in table.columns else np.full(len(table), np.nan)
    table[name] = np.where(np.isnan(own), u, own)
    return replace(readings, table=table)


def _gaps(readings: Readings, column: str) -> bool:
    """Return whether any row of ``column`` states no u of its own."""
    name = f"u_{column}"
    return name not in readings.table.columns or bool(readings.table[name].isna().any())


def _said(assumed: tuple[str, ...], gaps: bool) -> tuple[str, ...]:
    """Return what was assumed, without the scatter where every row states its own."""
    return tuple(words for words in assumed if gaps or "scatter" not in words)


def noted(readings: Readings, *notes: str) -> Readings:
    """Return the readings with the notes added to their last receipt, each once."""
    *others, last = readings.receipts
    fresh = tuple(n for n in dict.fromkeys(notes) if n not in last.notes)
    return replace(readings, receipts=(*others, replace(last, notes=last.notes + fresh)))


def add_frequency_errors(readings: Readings, instruments: Instruments) -> Readings:
    """Return the readings with the counter's scatter and time base on ``frequency_mhz``."""
    said = _said(instruments.counter.assumed, _gaps(readings, "frequency_mhz"))
    readings = add_u(readings, "frequency_mhz", instruments.u_frequency_mhz)
    common = readings.common + shared(instruments, "counter time base", "frequency_mhz")
    return noted(replace(readings, common=common), *said)


def add_drive_errors(readings: Readings, instruments: Instruments) -> Readings:
    """Return the readings with the voltmeter's scatter, gain and offset on ``drive_v``."""
    said = _said(instruments.voltmeter.assumed, _gaps(readings, "drive_v"))
    readings = add_u(readings, "drive_v", instruments.u_drive_v)
    gain = shared(instruments, "voltmeter gain", "drive_v")
    offset = shared(instruments, "voltmeter offset", "drive_v", "offset")
    return noted(replace(readings, common=readings.common + gain + offset), *said)


def add_optical_errors(readings: Readings, instruments: Instruments) -> Readings:
    """Return the readings with the power meter's scatter and gain on every optical column.

    The scatter is ``hypot(percent of reading, floor)``, NaN where no percentage is stated.
    """
    meter = instruments.power_meter
    common = readings.common
    said = _said(meter.assumed, _gaps(readings, "optical_power_mw"))
    for column in (c for c in OPTICAL_COLUMNS if c in readings.table.columns):
        power = readings.table[column].to_numpy(dtype=float)
        largest = float(np.abs(readings.table["optical_power_mw"]).max())
        floor = 3e-3 * largest if meter.floor_uw is None else 1e-3 * meter.floor_uw
        share = np.nan if meter.u_reading_percent is None else 1e-2 * meter.u_reading_percent
        readings = add_u(readings, column, np.hypot(share * power, floor))
        common = common + shared(instruments, "power meter gain", column)
    return noted(replace(readings, common=common), *said)
