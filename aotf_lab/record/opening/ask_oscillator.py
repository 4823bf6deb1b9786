"""A few readings of the oscillator against its kept curve."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from uncertainties import ufloat

from aotf_lab.errors import OutOfRangeError, ReadingsError, Said
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.opening.link import NORMAL_95, Question
from aotf_lab.record.opening.prior import OSCILLATOR_DRIFT, oscillator_columns
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import StoredNumbers, common_keys, stored_numbers

__all__ = ["ask_oscillator", "box_temperature_c"]

_ANOTHER_UNIT = 10.0
"""A frequency further off than this factor was read in another unit (common practice, no source)."""


def ask_oscillator(
    record: OscillatorRecord,
    crystal: CrystalRecord,
    readings: Readings | pd.DataFrame,
    box_c: float | None,
    instruments: Mapping[str, str] | None,
) -> Question:
    """Return what the readings ask of the oscillator.

    Columns ``drive_v`` and ``frequency_mhz``, optional ``u_drive_v``, ``u_frequency_mhz``, ``temperature_c``. Raises
    ``ReadingsError`` for a value that is no reading or in another unit, ``OutOfRangeError`` outside the voltages of
    the curve.
    """
    wrapped = as_readings(readings)
    drive_v, frequency_mhz = (_positive(wrapped, column) for column in ("drive_v", "frequency_mhz"))
    _require_near(record, wrapped, drive_v, frequency_mhz)
    rows = record.weights(drive_v)
    return Question(
        "oscillator", record.numbers, rows, _told(record, wrapped, drive_v, frequency_mhz, instruments),
        oscillator_columns(record), OSCILLATOR_DRIFT, _in_use(record, crystal), _narrowest(crystal), 1.0,
        max(record.coverage_factor / NORMAL_95, 1.0), _by_temperature(record, box_c),
    )  # fmt: skip


def box_temperature_c(readings: Readings) -> float | None:
    """Return the mean temperature of the readings (C), None where it was not noted."""
    if "temperature_c" not in readings.table.columns:
        return None
    noted = readings.table["temperature_c"].to_numpy(dtype=float)
    return float(np.nanmean(noted)) if np.isfinite(noted).any() else None


def _positive(readings: Readings, column: str) -> FloatArray:
    readings.require(column)
    values = readings.table[column].to_numpy(dtype=float)
    for k, value in enumerate(values.tolist()):
        if not (np.isfinite(value) and value > 0):
            raise ReadingsError(
                f"{column} of a reading of the opening check", where=readings.place(k), found=value,
                allowed="a number above zero", cure="leave the row out, or read it again",
            )  # fmt: skip
    return values


def _require_near(record: OscillatorRecord, readings: Readings, drive_v: FloatArray, frequency_mhz: FloatArray) -> None:
    """Raise for a drive that the curve was not measured at, and a frequency in another unit than the curve's."""
    low, high = record.range_v
    for k, (volts, value) in enumerate(zip(drive_v.tolist(), frequency_mhz.tolist(), strict=True)):
        if not low <= volts <= high:
            raise OutOfRangeError("drive voltage", volts, low, high, "V", where=readings.place(k))
        kept = float(record.frequency(volts).n)
        if not 1 / _ANOTHER_UNIT < value / kept < _ANOTHER_UNIT:
            raise ReadingsError(
                f"a frequency that this oscillator does not make at {volts:.4g} V", where=readings.place(k),
                found=Said(f"{value:.6g} MHz"), allowed=f"about {kept:.4g} MHz, as kept",
                cure="look at the unit of its column: state it in the heading, or in a layout",
            )  # fmt: skip


def _told(
    record: OscillatorRecord,
    readings: Readings,
    drive_v: FloatArray,
    frequency_mhz: FloatArray,
    instruments: Mapping[str, str] | None,
) -> StoredNumbers:
    """Return the true frequencies (m) that the readings tell, the counter's own error in them."""
    stated = np.hypot(_u(readings, "u_frequency_mhz"), _u(readings, "u_drive_v") * record.sensitivity(drive_v))
    u = np.fmax(stated, record.u_reading_mhz)
    told = {}
    for k, (volts, value) in enumerate(zip(drive_v.tolist(), frequency_mhz.tolist(), strict=True)):
        number = ufloat(value, float(u[k]))
        for error in readings.common_errors("frequency_mhz"):
            number = error.applied_to(number)
        told[f"{volts:.4g} V (reading {k + 1})"] = number
    return stored_numbers(told, common=common_keys(instruments))


def _u(readings: Readings, column: str) -> FloatArray:
    """Return the stated u of the readings (m,), NaN where it is not stated."""
    if column not in readings.table.columns:
        return np.full(len(readings.table), np.nan)
    return readings.table[column].to_numpy(dtype=float)


def _in_use(record: OscillatorRecord, crystal: CrystalRecord) -> FloatArray:
    """Return the rows (k, n) that make the frequencies of the lines within reach, of all knots where there is none."""
    peaks = [crystal.peak(line).n for line in crystal.lines if crystal.known("peak", line)]
    low, high = record.range_mhz
    within = [peak for peak in peaks if low <= peak <= high]
    drives = np.array([record.drive(peak).n for peak in within]) if within else record.drive_v
    return record.weights(np.clip(drives, *record.range_v))


def _narrowest(crystal: CrystalRecord) -> float:
    widths = [crystal.fwhm_mhz(line).n for line in crystal.lines if crystal.known("fwhm", line)]
    return min(widths, default=float("nan"))


def _by_temperature(record: OscillatorRecord, today_c: float | None) -> tuple[float, float] | None:
    """Return what the temperature of its box makes of the shift (MHz) with its u, None where that is not known."""
    then_c, coefficient = record.conditions.get("temperature_c"), record.coefficients.get("mhz_per_k")
    if today_c is None or then_c is None or coefficient is None:
        return None
    return coefficient[0] * (today_c - then_c), coefficient[1] * abs(today_c - then_c)
