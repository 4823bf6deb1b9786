"""From a table of readings to drive and efficiency: what is usable, what is impossible, what is shared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation import Check, CommonError
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings, join_readings

__all__ = ["DriveReadings", "EfficiencyTable", "drive_readings", "one_line"]

EfficiencyTable = Readings | pd.DataFrame | list[Readings | pd.DataFrame] | tuple[Readings | pd.DataFrame, ...]

_FEWEST = 3
_ZERO_ALLOWANCE = 0.02
"""How far below zero an efficiency without stated uncertainty may lie (common practice, no source)."""


@dataclass(frozen=True)
class DriveReadings:
    """Arrays (n,) of one line's readings; an uncertainty that nobody knows is None.

    The scales turn indicated into true values; the offsets are None where no such error is stated.
    """

    readings: Readings
    line: str
    wavelength_nm: float | None
    power_w: FloatArray
    u_power_w: FloatArray | None
    efficiency: FloatArray
    u_efficiency: FloatArray | None
    places: tuple[str, ...]
    power_scale: UFloat | float
    efficiency_scale: UFloat | float
    power_offset: UFloat | None
    dark_offset: UFloat | None
    notes: tuple[Check, ...]

    @property
    def scatter(self) -> str:
        """The name of the readings in budgets and messages."""
        return f"the efficiency readings of line {self.line}" if self.line else "the efficiency readings"

    def rough_weight(self) -> FloatArray:
        """Return weights (n,) that need no fit: the slope of the law is at most efficiency over power."""
        u_y = np.ones_like(self.power_w) if self.u_efficiency is None else self.u_efficiency
        if self.u_power_w is None or self.u_efficiency is None:
            return np.asarray(u_y**-2.0)
        steepest = np.abs(self.efficiency) / np.maximum(self.power_w, 1e-3 * self.power_w.max())
        return np.asarray(1 / (u_y**2 + (steepest * self.u_power_w) ** 2))


def one_line(readings: EfficiencyTable, line: str) -> tuple[Readings, str]:
    """Return the rows of ``line`` and its name; a table of one line needs no name.

    Raises ``ReadingsError`` when the table holds several lines and none of them is named.
    """
    parts = list(readings) if isinstance(readings, list | tuple) else [readings]
    joined = as_readings(parts[0]) if len(parts) == 1 else join_readings(as_readings(p) for p in parts)
    if "label" not in joined.table.columns:
        return joined, line
    labels = joined.table["label"].fillna("").astype(str)
    names = [n for n in dict.fromkeys(labels) if n]
    if line and line in names:
        return Readings(joined.table[labels == line].reset_index(drop=True), joined.common, joined.receipts,
                        joined.sources), line  # fmt: skip
    if len(names) > 1 or (line and names):
        what = "no readings of this line" if line else "readings of several lines in one table, and none is named"
        raise ReadingsError(
            what, found=line or "no name", allowed=", ".join(names),
            cure="name one with line=..., or fit all together with fit_efficiency_lines",
        )  # fmt: skip
    return joined, line or (names[0] if names else "")


def drive_readings(readings: Readings, wavelength_nm: float | None, line: str) -> DriveReadings:
    """Return the arrays of one line's ``readings``.

    Raises ``ReadingsError`` for a missing column, an impossible value (efficiency outside 0 to 1,
    negative power, an uncertainty of zero or below) and for fewer than three different drives.
    """
    readings.require("rf_power_w", "efficiency")
    places = readings.places
    power, efficiency = _column(readings, "rf_power_w"), _column(readings, "efficiency")
    _refuse(~(np.isfinite(power) & (power >= 0)), power, places, "RF power", "0 W or more", "correct the reading")
    u_power, lost = _uncertainty(readings, "u_rf_power_w", places, zero_allowed=power == 0)
    u_efficiency, unknown = _uncertainty(readings, "u_efficiency", places)
    _refuse_impossible(efficiency, u_efficiency, places)
    _refuse_too_few(power, places)
    if u_power is not None:
        u_power = np.maximum(u_power, 1e-9 * power.max())
    return DriveReadings(
        readings, line, _wavelength(readings, wavelength_nm), power, u_power, efficiency, u_efficiency, places,
        _scale(readings.common_errors("rf_power_w")), _scale(readings.common_errors("efficiency")),
        _offset(readings.common_errors("rf_power_w")), _offset(readings.common_errors("efficiency")),
        _notes(lost, unknown, u_power is None),
    )  # fmt: skip


def _column(readings: Readings, name: str) -> FloatArray:
    return np.asarray(readings.table[name].to_numpy(dtype=float))


def _refuse(
    bad: NDArray[np.bool_], values: FloatArray, places: tuple[str, ...], what: str, allowed: str, cure: str
) -> None:
    if bad.any():
        row = int(np.argmax(bad))
        raise ReadingsError(
            f"{what} that cannot be", where=places[row], found=float(values[row]), allowed=allowed, cure=cure
        )


def _uncertainty(
    readings: Readings, name: str, places: tuple[str, ...], zero_allowed: NDArray[np.bool_] | bool = False
) -> tuple[FloatArray | None, int]:
    """Return the column (None when no row states it) and in how many rows the largest one stands in."""
    if name not in readings.table.columns:
        return None, 0
    u = _column(readings, name)
    missing = np.isnan(u)
    if missing.all():
        return None, 0
    good = missing | (np.isfinite(u) & ((u > 0) | ((u == 0) & zero_allowed)))
    _refuse(~good, u, places, f"{name}: a standard uncertainty", "a finite number above zero",
            "correct it, or leave the column out to have the scatter estimated")  # fmt: skip
    return np.where(missing, np.nanmax(u), u), int(missing.sum())


def _refuse_impossible(efficiency: FloatArray, u: FloatArray | None, places: tuple[str, ...]) -> None:
    limit = z_limit(len(efficiency))
    above = np.zeros_like(efficiency) if u is None else limit * u
    below = np.full_like(efficiency, _ZERO_ALLOWANCE) if u is None else limit * u
    cure = "correct the reading; per cent are divided by 100, and diffracted light by the incident light"
    _refuse(~(efficiency <= 1 + above), efficiency, places, "efficiency above 1", "0 to 1", cure)
    cure = "correct the reading, or subtract the right dark reading"
    _refuse(~(efficiency >= -below), efficiency, places, "efficiency below 0", "0 to 1", cure)


def _refuse_too_few(power: FloatArray, places: tuple[str, ...]) -> None:
    different = len(np.unique(power[power > 0]))
    if different < _FEWEST:
        raise ReadingsError(
            "too few different drives for the efficiency curve",
            where=places[0].rsplit(":", 1)[0] if ":" in places[0] else "",
            found=different,
            allowed=f"at least {_FEWEST} above 0 W",
            cure="measure efficiency at more RF powers, some of them near the peak",
        )


def _wavelength(readings: Readings, stated: float | None) -> float | None:
    if stated is None and "wavelength_nm" in readings.table.columns:
        found = readings.table["wavelength_nm"].dropna().unique()
        if len(found) > 1:
            raise ReadingsError(
                "several wavelengths in the readings of one line", found=", ".join(f"{w:g} nm" for w in found),
                allowed="one", cure="fit all lines together with fit_efficiency_lines",
            )  # fmt: skip
        stated = float(found[0]) if len(found) else None
    if stated is not None and not (np.isfinite(stated) and stated > 0):
        raise ReadingsError("wavelength", found=Said(f"{stated} nm"), allowed="above 0 nm", cure="state it in nm")
    return stated


def _scale(errors: tuple[CommonError, ...]) -> UFloat | float:
    scale: UFloat | float = 1.0
    for error in errors:
        scale = error.applied_to(scale) if error.kind == "relative" else scale
    return scale


def _offset(errors: tuple[CommonError, ...]) -> UFloat | None:
    parts = [e.sensitivity * e.variable for e in errors if e.kind == "offset"]
    return sum(parts[1:], parts[0]) if parts else None


def _notes(power_rows: int, efficiency_rows: int, power_unknown: bool) -> tuple[Check, ...]:
    notes = []
    if power_unknown:
        notes.append("no uncertainty was stated for the RF power readings: they were taken as exact")
    for rows, what in ((power_rows, "RF power"), (efficiency_rows, "efficiency")):
        if rows:
            notes.append(f"{rows} readings of {what} state no uncertainty: the largest stated one was taken")
    return tuple(Check("stated uncertainty", False, f"{n}; state the instrument's accuracy") for n in notes)
