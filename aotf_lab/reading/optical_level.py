"""Optical power that was logged in dB: the power that it means, beside the level as it was shown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from aotf_lab.reading.accuracy import noted
from aotf_lab.reading.readings import Readings

__all__ = ["LOG_COLUMNS", "PER_DB", "with_power_of_level"]

LOG_COLUMNS = ("optical_power_dbm", "optical_level_db")
"""Levels of optical power: in dB of 1 mW, and in dB of a reference that is not known."""

PER_DB = float(np.log(10.0) / 10.0)
"""Relative change of a power per dB."""


def with_power_of_level(readings: Readings) -> Readings:
    """Return the readings with ``optical_power_mw``, and its u, by a level where they have only that.

    Of ``optical_level_db`` 0 dB counts as 1 mW: the power is then relative. The level stays in the table: it says that
    the scatter is one in dB.
    """
    table = readings.table
    column = next((c for c in LOG_COLUMNS if c in table.columns), None)
    if column is None or "optical_power_mw" in table.columns:
        return readings
    power = np.exp(PER_DB * table[column].to_numpy(dtype=float))
    more = {"optical_power_mw": power}
    if f"u_{column}" in table.columns:
        more["u_optical_power_mw"] = PER_DB * table[f"u_{column}"].to_numpy(dtype=float) * power
    with_power = replace(readings, table=table.assign(**more))
    if not readings.receipts:  # a plain table
        return with_power
    note = "optical power = 1 mW x 10^(dBm / 10)"
    if column == LOG_COLUMNS[1]:
        note = "optical power is relative: a level in dB without its reference, of which 0 dB counts as 1 mW"
    return noted(with_power, note)
