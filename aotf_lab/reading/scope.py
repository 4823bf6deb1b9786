"""Read RF levels from an oscilloscope, and turn a level into the power in the load."""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import ReadingError, Said
from aotf_lab.estimation.causes import CommonError
from aotf_lab.physics.rf import dbm_to_watt, rms_to_watt, single_pole_factor, watt_to_rms
from aotf_lab.reading.accuracy import add_frequency_errors, add_u, noted, shared
from aotf_lab.reading.chain import PER_DB, fixed_factor, scale_errors
from aotf_lab.reading.harmonic_content import ReadingKind
from aotf_lab.reading.headers import ColumnMap
from aotf_lab.reading.instruments import UNSTATED, Instruments
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.table import read_bare_table

__all__ = ["PER_DB", "RF_COLUMNS", "add_rf_power", "read_scope_levels"]

RF_COLUMNS = ("rf_level_vrms", "rf_level_dbm", "rf_power_w")
"""The columns of which one, and only one, may give the RF power."""

TYPICAL_MHZ = 65.0
"""Where harmonics are judged when readings state no frequency: the middle of visible light (common practice)."""

_FLOOR = 1e-4
"""Least u of RF power as a share of the largest: at zero level a percentage alone would leave none."""


def read_scope_levels(
    path: str | os.PathLike[str],
    instruments: Instruments | None = None,
    columns: ColumnMap | None = None,
    *,
    layout: Layout | None = None,
) -> Readings:
    """Return RF levels and the RF power that they mean, one row per reading, with their errors.

    Columns: ``rf_level_vrms`` (V rms, as the scope shows it; peak-to-peak is read as that of a
    sine), ``rf_power_w`` and ``u_rf_power_w`` (W, in the load), and where the file has them
    ``frequency_mhz``, ``supply_v``, ``drive_v`` and others; ``file`` and ``line``. Shared errors of
    ``rf_power_w``: see ``add_rf_power``. ``layout`` states what is not to be found from the file.
    Raises ``ReadingError``.
    """
    bench = instruments or UNSTATED
    bare = read_bare_table(path, columns=columns, layout=layout, wanted=(RF_COLUMNS,))
    have = [c for c in RF_COLUMNS if c in bare.table.columns]
    if not have:
        receipt = bare.receipts[0]
        raise ReadingError(
            "no column that means an RF level or RF power", where=bare.headings_place,
            found=Said(", ".join(repr(c.header) for c in receipt.columns)),
            allowed="a heading such as 'Level (Vrms)', 'Level (Vpp)', 'Level (dBm)' or 'RF power (W)'",
            cure='map it in session.toml or in a layout: columns = { rf_level_vrms = "..." }',
        )  # fmt: skip
    if "frequency_mhz" in bare.table.columns:
        bare = add_frequency_errors(bare, bench)
    return add_rf_power(bare, bench)


def add_rf_power(readings: Readings, instruments: Instruments) -> Readings:
    """Return the readings with ``rf_power_w``, its u and its shared errors.

    It is the power of the fundamental; ``chain`` has the formula and its links. The fall of the scope's
    response is corrected where its bandwidth and a column of frequencies are known (single pole), harmonics as a
    saved trace shows them, or by a wide assumption. A level in dBm is a power already, so the load does not enter.
    A column of RF power is taken as it stands. Shared errors: see ``chain.scale_errors``, and those of harmonics,
    and of noise and DC. Where pad or probe is not stated, a level in volts may mean any power: one more
    shared error, of 100 %, says so.

    Raises ``ReadingError`` when two columns give the RF power or a level is negative.
    """
    have = [c for c in RF_COLUMNS if c in readings.table.columns]
    if len(have) > 1:
        raise ReadingError(
            "two columns give the RF power", where=readings.headings_place, found=Said(", ".join(have)),
            allowed="a level or a power", cure='pass one over in session.toml: columns = { not_used = "..." }',
        )  # fmt: skip
    _refuse_negative(readings, have[0])
    if have[0] == "rf_power_w":
        readings = noted(readings, "RF power taken as stated, at the load: no pad, probe or bandwidth applied")
        power = readings.table["rf_power_w"].to_numpy(dtype=float)
        common = _of_stated_power(instruments)
    else:
        readings, power = _power_of_level(readings, have[0], instruments)
        readings, factor, at_mhz = _bandwidth_factor(readings, instruments)
        power = power * factor
        common = scale_errors(instruments, at_mhz, volts=have[0] != "rf_level_dbm")
        common += _added_errors(readings, have[0], instruments, float(np.mean(factor)))
        readings, excess, error = _harmonics(readings, have[0], instruments)
        power, common = power / excess, common + error
    own = _relative_u(readings, have[0])
    readings = replace(readings, table=readings.table.assign(rf_power_w=power))
    relative = np.where(np.isnan(own), 2.0 * instruments.u_level_relative, own)
    scatter = np.maximum(relative * power, _FLOOR * power.max())
    readings = add_u(readings, "rf_power_w", scatter)
    readings = replace(readings, common=readings.common + common)
    return noted(readings, *_said(instruments.scope.assumed, have[0]))


_OF_A_LEVEL = ("pad not", "probe factor not", "input behind", "u of the scope bandwidth", "return loss")


def _of_stated_power(instruments: Instruments) -> tuple[CommonError, ...]:
    """Return what a column of RF power shares with levels: the gain of the meter and pad before it, and the load."""
    common = shared(instruments, "scope gain", "rf_power_w", sensitivity=2.0)
    common += shared(instruments, "pad", "rf_power_w", sensitivity=PER_DB)
    return common + shared(instruments, "load", "rf_power_w", sensitivity=-1.0)


def _said(assumed: tuple[str, ...], column: str) -> tuple[str, ...]:
    """Return what was assumed of the scope, without the links of a level where a power was taken as stated."""
    stated = column == "rf_power_w"
    return tuple(words for words in assumed if not (stated and words.startswith(_OF_A_LEVEL)))


def _refuse_negative(readings: Readings, column: str) -> None:
    values = readings.table[column].to_numpy(dtype=float)
    bad = np.flatnonzero(values < 0) if column != "rf_level_dbm" else np.array([], dtype=int)
    if bad.size:
        raise ReadingError(
            f"negative {column}", where=readings.place(int(bad[0])), found=float(values[bad[0]]),
            allowed="zero or more", cure="state the rms or peak-to-peak value without a sign",
        )  # fmt: skip


def _power_of_level(readings: Readings, column: str, instruments: Instruments) -> tuple[Readings, NDArray[np.float64]]:
    scope, factor = instruments.scope, fixed_factor(instruments)
    probe, load = 1.0 if scope.probe is None else scope.probe, instruments.load_ohm
    level = readings.table[column].to_numpy(dtype=float)
    note = f"RF power = (level x {probe:g} x 10^({scope.pad_db or 0:g} dB / 20))^2 / {load:g} ohm"
    if column == "rf_level_dbm":
        power = np.asarray(dbm_to_watt(level))
        readings = replace(readings, table=readings.table.assign(rf_level_vrms=np.asarray(watt_to_rms(power, load))))
        note = f"RF power = power shown in dBm x {factor:g} (probe and pad)"
    else:
        power = np.asarray(rms_to_watt(level, load))
    note += "; a quarter of it: the input behind the pad is open" if scope.open_behind_pad else ""
    added = float(np.hypot(*scope.added_v))
    if added > 0 and _kind(readings, column) == "rms":
        power = np.maximum(power - float(rms_to_watt(added, load)), 0.0)
        note += f"; {1e3 * added:g} mV rms of noise and DC subtracted in squares"
    return noted(readings, note), power * factor


def _kind(readings: Readings, column: str) -> ReadingKind:
    """Return how the level was read: peak to peak where the unit of its column in the file says so."""
    if column != "rf_level_vrms" or not readings.receipts:
        return "rms"
    swing = any(c.meaning == column and "pp" in c.unit for c in readings.receipts[-1].columns)
    return "peak to peak" if swing else "rms"


def _added_errors(readings: Readings, column: str, instruments: Instruments, fall: float) -> tuple[CommonError, ...]:
    """Return the error (W) by noise and DC that an rms reading holds: d (volts^2) = 2 volts d volts."""
    if _kind(readings, column) != "rms":
        return ()
    added = float(np.hypot(*instruments.scope.added_v))
    watts_per_volt = -2.0 * added / instruments.load_ohm * fixed_factor(instruments) * fall
    return shared(instruments, "noise and DC in volts rms", "rf_power_w", "offset", watts_per_volt)


def _harmonics(
    readings: Readings, column: str, instruments: Instruments
) -> tuple[Readings, NDArray[np.float64], tuple[CommonError, ...]]:
    """Return by what factor (n,) harmonics make the level's square too large, and the error of that."""
    kind, table = _kind(readings, column), readings.table
    known = "frequency_mhz" in table.columns
    frequency = table["frequency_mhz"].to_numpy(dtype=float) if known else np.full(len(table), TYPICAL_MHZ)
    excess = instruments.harmonic_excess(kind, frequency)
    error = shared(instruments, f"harmonics ({kind})", "rf_power_w")
    return noted(readings, f"power of the fundamental: {excess.words}"), excess.factor, error


def _bandwidth_factor(
    readings: Readings, instruments: Instruments
) -> tuple[Readings, NDArray[np.float64], NDArray[np.float64] | None]:
    """Return the factor on power for the scope's bandwidth, and the frequencies at which it could be known."""
    bandwidth, ones = instruments.scope.bandwidth_mhz, np.ones(len(readings.table))
    if bandwidth is None:
        return readings, ones, None
    if "frequency_mhz" not in readings.table.columns:
        return noted(readings, "scope bandwidth not corrected: no frequency; 10 % of RF power assumed"), ones, None
    frequency = readings.table["frequency_mhz"].to_numpy(dtype=float)
    factor = np.asarray(single_pole_factor(frequency, bandwidth))
    note = f"scope bandwidth of {bandwidth:g} MHz corrected as a single pole: RF power up to x{factor.max():.3f}"
    return noted(readings, note), factor, frequency


def _relative_u(readings: Readings, column: str) -> NDArray[np.float64]:
    """Return the relative u of power from the file's own u of level, NaN where it has none."""
    name = f"u_{column}"
    if column != "rf_level_vrms" or name not in readings.table.columns:
        return np.full(len(readings.table), np.nan)
    level = readings.table[column].to_numpy(dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(level > 0, 2.0 * readings.table[name].to_numpy(dtype=float) / level, np.nan))
