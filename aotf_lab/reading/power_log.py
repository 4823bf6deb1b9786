"""Read a log of optical power, and the efficiency that it means."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from aotf_lab.errors import ReadingError, Said
from aotf_lab.reading.accuracy import add_drive_errors, add_frequency_errors, add_optical_errors, noted
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.optical_level import with_power_of_level
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.scope import RF_COLUMNS, add_rf_power
from aotf_lab.reading.shape.only_one import Wanted
from aotf_lab.reading.table import read_bare_table

__all__ = ["read_power_log"]

_ALLOWANCE = 2.0
"""An efficiency above 1 by more than this many of its u cannot be scatter."""


def read_power_log(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
    label: str | Sequence[str] = (),
    wanted: Sequence[Wanted] = (),
) -> Readings:
    """Return optical power, one row per reading, with its errors, and what was logged beside it.

    Columns: ``optical_power_mw`` and ``u_optical_power_mw`` (mW; NaN where the scatter is not
    stated), and where the file has them ``frequency_mhz``, ``direction`` ("up", "down" or ""),
    ``drive_v`` with its u, ``time_s``, ``rf_power_w`` with its u (converted as ``read_scope_levels`` does),
    ``incident_power_mw``, ``dark_power_mw``; with incident power also ``efficiency`` (0 to 1) =
    (optical - dark) / (incident - dark) and ``u_efficiency``; ``file`` and ``line``. A file may give
    ``efficiency`` itself instead of optical power, or power on a log scale (dBm, or dB of an unknown
    reference), which stays beside the power as ``optical_power_dbm`` or ``optical_level_db``; ``range`` is
    the power meter's, as text. Shared errors: power meter gain, which cancels in efficiency, counter time
    base, and those of the RF power.

    ``layout`` states what is not to be found from the file; ``label`` names lines that have a column each;
    a column of ``wanted`` may be found as the only one in its kind of unit, as optical power is.

    Raises ``ReadingError``, also for an efficiency above 1 and for incident light below the dark reading.
    """
    bench = instruments or UNSTATED
    wanted = (("optical_power_mw", "efficiency"), *wanted)
    readings = read_bare_table(path, columns=columns, layout=layout, label=label, wanted=wanted)
    readings = with_power_of_level(readings)
    have = set(readings.table.columns)
    if "efficiency" not in have and "optical_power_mw" not in have:
        read_bare_table(path, columns=columns, layout=layout, label=label, required=("optical_power_mw",))  # raises
    if "optical_power_mw" in have:
        readings = add_optical_errors(readings, bench)
    if "frequency_mhz" in have:
        readings = add_frequency_errors(readings, bench)
    if "drive_v" in have:
        readings = add_drive_errors(readings, bench)
    if have & set(RF_COLUMNS):
        readings = add_rf_power(readings, bench)
    if {"optical_power_mw", "incident_power_mw"} <= have:
        readings = _with_efficiency(readings)
    elif "efficiency" in have and "u_efficiency" not in have:
        readings = replace(readings, table=readings.table.assign(u_efficiency=np.nan))
    if "efficiency" in readings.table.columns:
        _refuse_above_one(readings)
    return readings


def _with_efficiency(readings: Readings) -> Readings:
    table = readings.table
    if "efficiency" in table.columns:
        raise ReadingError(
            "efficiency stated, and also incident power from which it follows", where=readings.headings_place,
            found=Said("efficiency, incident_power_mw"), allowed="one of them",
            cure='pass one over in session.toml: columns = { not_used = "..." }',
        )  # fmt: skip
    optical = table["optical_power_mw"].to_numpy(dtype=float)
    incident = table["incident_power_mw"].to_numpy(dtype=float)
    dark = table["dark_power_mw"].to_numpy(dtype=float) if "dark_power_mw" in table.columns else np.zeros(len(table))
    net = incident - dark
    if not np.all(net > 0):
        row = int(np.argmin(net > 0))
        raise ReadingError(
            "incident light not above the dark reading", where=readings.place(row), found=Said(f"{net[row]:.6g} mW"),
            allowed="incident minus dark above 0 mW", cure="check which column is which, and the zero of the meter",
        )  # fmt: skip
    efficiency = (optical - dark) / net
    u_dark = table["u_dark_power_mw"].to_numpy(dtype=float) if "u_dark_power_mw" in table.columns else 0.0
    u_optical, u_incident = table["u_optical_power_mw"].to_numpy(), table["u_incident_power_mw"].to_numpy()
    u = np.sqrt(u_optical**2 + (efficiency * u_incident) ** 2 + ((1.0 - efficiency) * u_dark) ** 2) / net
    note = "efficiency = (optical - dark) / (incident - dark)"
    if "dark_power_mw" not in table.columns:
        note = "efficiency = optical / incident: no dark reading, so the meter's zero stays in it"
    return noted(replace(readings, table=table.assign(efficiency=efficiency, u_efficiency=u)), note)


def _refuse_above_one(readings: Readings) -> None:
    efficiency = readings.table["efficiency"].to_numpy(dtype=float)
    limit = 1.0 + _ALLOWANCE * np.nan_to_num(readings.table["u_efficiency"].to_numpy(dtype=float))
    bad = np.flatnonzero(efficiency > limit)
    if bad.size:
        row = int(bad[0])
        likely = "per cent without the unit (%)" if "incident_power_mw" not in readings.table.columns else (
            "optical and incident power exchanged or in different units, or incident power measured behind the crystal"
        )  # fmt: skip
        raise ReadingError(
            f"efficiency above 1; likely cause: {likely}", where=readings.place(row),
            found=Said(f"{efficiency[row]:.6g}"), allowed=f"0 to {limit[row]:.4g}",
            cure="correct the heading or its unit, or map the columns the other way",
        )  # fmt: skip
