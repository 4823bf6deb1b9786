"""The oscillator's readings as arrays, checked for what no curve can be drawn through."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["VcoTable", "vco_table"]

FEWEST_VOLTAGES = 5
_GUESS_MHZ = 0.01
_SIDES = {"up": 0.5, "down": -0.5}


@dataclass(frozen=True)
class VcoTable:
    """One row per reading, all arrays (n,).

    ``u_drive_v`` is 0 and ``u_frequency_mhz`` a guess where nobody knows them (``u_drive_known``,
    ``u_frequency_known``). ``side`` is +0.5 where the voltage was approached from below, -0.5 from
    above, 0 where nothing says so; ``side_recorded`` tells a recorded direction from one seen in
    the order. ``others`` are further columns that may move the frequency, without gaps.
    ``row`` is the row's position in ``origin``.
    """

    drive_v: FloatArray
    u_drive_v: FloatArray
    frequency_mhz: FloatArray
    u_frequency_mhz: FloatArray
    u_drive_known: bool
    u_frequency_known: bool
    side: FloatArray
    side_recorded: bool
    others: dict[str, FloatArray]
    origin: Readings = field(repr=False)
    row: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.drive_v)

    def place(self, k: int | np.intp) -> str:
        """Return ``file:line`` of row ``k``."""
        return self.origin.place(int(self.row[k]))

    def rows(self, keep: NDArray[np.intp]) -> VcoTable:
        """Return the table of these rows only."""
        return replace(
            self,
            drive_v=self.drive_v[keep],
            u_drive_v=self.u_drive_v[keep],
            frequency_mhz=self.frequency_mhz[keep],
            u_frequency_mhz=self.u_frequency_mhz[keep],
            side=self.side[keep],
            others={name: column[keep] for name, column in self.others.items()},
            row=self.row[keep],
        )


def vco_table(readings: Readings) -> VcoTable:
    """Return the arrays of ``readings``.

    Raises ``ReadingsError`` for a missing column, an empty table, a value that is not finite, a
    frequency or a standard uncertainty of zero or below, and fewer than five different voltages;
    the message names the row.
    """
    readings.require("drive_v", "frequency_mhz")
    drive_v = _column(readings, "drive_v")
    frequency_mhz = _column(readings, "frequency_mhz")
    _refuse(readings, "drive_v", drive_v, np.isfinite(drive_v), "a finite voltage in V")
    good = np.isfinite(frequency_mhz) & (frequency_mhz > 0)
    _refuse(readings, "frequency_mhz", frequency_mhz, good, "a frequency above zero in MHz")
    u_drive, u_drive_known = _uncertainty(readings, "drive_v", 0.0)
    u_frequency, u_frequency_known = _uncertainty(readings, "frequency_mhz", _GUESS_MHZ)
    different = len(np.unique(drive_v))
    if different < FEWEST_VOLTAGES:
        raise ReadingsError(
            "too few different voltages for a curve of unknown form",
            where=", ".join(s.name for s in readings.sources),
            found=different,
            allowed=f"at least {FEWEST_VOLTAGES}, better 15 to 25 over the range in use",
            cure="measure at more voltages",
        )
    side, recorded = _sides(readings, drive_v)
    others = {
        name: column
        for name in ("time_s", "temperature_c", "supply_v")
        if name in readings.table.columns
        for column in [_column(readings, name)]
        if np.all(np.isfinite(column)) and float(np.ptp(column)) > 0
    }
    return VcoTable(
        drive_v,
        u_drive,
        frequency_mhz,
        u_frequency,
        u_drive_known,
        u_frequency_known,
        side,
        recorded,
        others,
        readings,
        np.arange(len(drive_v)),
    )


def _column(readings: Readings, name: str) -> FloatArray:
    return readings.table[name].to_numpy(dtype=float, na_value=np.nan)


def _uncertainty(readings: Readings, name: str, guess: float) -> tuple[FloatArray, bool]:
    """Return u of column ``name``, with ``guess`` in the gaps, and whether there were none."""
    column = f"u_{name}"
    if column not in readings.table.columns:
        return np.full(len(readings.table), guess), False
    u = _column(readings, column)
    missing = np.isnan(u)
    good = missing | ((u > 0) & np.isfinite(u))
    _refuse(readings, column, u, good, "a standard uncertainty above zero, or an empty cell where nobody knows it")
    if missing.all():
        return np.full(len(u), guess), False
    return np.where(missing, np.median(u[~missing]), u), not bool(missing.any())


def _refuse(readings: Readings, column: str, values: FloatArray, good: NDArray[np.bool_], allowed: str) -> None:
    if good.all():
        return
    row = int(np.argmin(good))
    raise ReadingsError(
        f"{column} cannot be used",
        where=f"{readings.place(row)}, column {column!r}",
        found=float(values[row]),
        allowed=allowed,
        cure="correct the cell, or take the row out of the table",
    )


def _sides(readings: Readings, drive_v: FloatArray) -> tuple[FloatArray, bool]:
    """Return from which side each voltage was approached, as recorded, else as the order shows it."""
    if "direction" in readings.table.columns:
        words = readings.table["direction"].astype(object).tolist()
        side = np.array([_SIDES.get(str(w).strip().lower(), 0.0) for w in words])
        if np.ptp(side) > 0:
            return side, True
    step = np.sign(np.diff(drive_v)) / 2
    first = step[step != 0][:1]
    side = np.concatenate([first, step]) if len(first) else np.zeros(len(drive_v))
    for k in range(1, len(side)):
        if side[k] == 0:
            side[k] = side[k - 1]
    return side, False
