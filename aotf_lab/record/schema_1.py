"""The older, plain form of a kept calibration: values and one covariance, short enough to be written by hand.

It knows no common causes, so that what two calibrations share is not known of it, no conditions, updates, checks or
sources, and has no hash of its own.
"""

from __future__ import annotations

import numpy as np

from aotf_lab.errors import RecordError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.fields import Fields
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import StoredNumbers

__all__ = ["crystal_from_1", "oscillator_from_1"]


def oscillator_from_1(fields: Fields) -> OscillatorRecord:
    """Return the calibration in ``drive_v``, ``frequency_mhz`` (n), ``covariance`` (n, n) and ``u_reading_mhz``.

    Raises ``RecordError`` for what is missing, of a wrong kind or a wrong length.
    """
    drive_v, values = fields.row("drive_v"), fields.row("frequency_mhz")
    names = [f"frequency at {v:.6g} V" for v in drive_v]
    return OscillatorRecord(
        name=fields.text("name"), measured=fields.text("measured"), drive_v=drive_v,
        numbers=_numbers(fields, names, values), u_reading_mhz=fields.number("u_reading_mhz"),
    )  # fmt: skip


def crystal_from_1(fields: Fields) -> CrystalRecord:
    """Return the calibration in ``wavelengths_nm`` and ``frequency_mhz`` (n), ``lines_nm`` and ``covariance``.

    ``peaks_mhz`` and ``fwhm_mhz`` are numbers by line; the covariance is over all three kinds of MHz in this order.
    Raises ``RecordError`` for what is missing, of a wrong kind or a wrong length.
    """
    nm, tuning = fields.row("wavelengths_nm"), fields.row("frequency_mhz")
    peaks, widths = fields.numbers("peaks_mhz"), fields.numbers("fwhm_mhz")
    names = [*(f"tuning {w:.2f} nm" for w in nm), *(f"peak {n}" for n in peaks), *(f"fwhm {n}" for n in widths)]
    return CrystalRecord(
        name=fields.text("name"), measured=fields.text("measured"), wavelengths_nm=nm, lines=fields.numbers("lines_nm"),
        numbers=_numbers(fields, names, np.array([*tuning, *peaks.values(), *widths.values()])),
        rated_rf_power_w=fields.maybe("rated_rf_power_w"),
    )  # fmt: skip


def _numbers(fields: Fields, names: list[str], values: FloatArray) -> StoredNumbers:
    rows = fields.rows("covariance")
    lengths = {len(row) for row in rows}
    if lengths - {len(rows)}:
        raise RecordError(
            "the covariance is not square", where=f"{fields.where}, covariance", found=max(lengths - {len(rows)}),
            allowed=f"{len(rows)} numbers in each of the {len(rows)} rows", cure="write out the whole covariance",
        )  # fmt: skip
    return StoredNumbers(tuple(names), values, {}, np.array(rows).reshape(len(rows), len(rows)))
