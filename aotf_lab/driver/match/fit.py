"""From S11, or from forward and reflected voltages, to the match of the crystal."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from aotf_lab.driver.match.match import Match, found_size
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["DIRECTIVITY_DB", "fit_match"]

DIRECTIVITY_DB = 25.0
"""Directivity assumed where none is stated: a plain directional coupler (common practice, no source)."""

_ABOVE_ONE = 1.05
_STEP = 0.15
"""A reflection that moves by more than this from one frequency to the next is not followed by straight lines."""


def fit_match(
    readings: Readings | pd.DataFrame, *, directivity_db: float | None = None, cable_loss_db: float = 0.0
) -> Match:
    """Return the match from ``frequency_mhz`` and ``s11_re``, ``s11_im``, or ``forward_v`` and ``reflected_v``.

    ``directivity_db`` is that of the coupler or bridge after its calibration (25 dB where not stated, and a check
    says so). ``cable_loss_db`` is what the cable between it and the crystal takes on one way: the reflected wave
    went through it twice, so the crystal reflects more than is shown. Rows may come in any order.

    Raises ``ReadingsError`` for missing columns, fewer than three frequencies, a frequency that stands twice, a
    forward voltage that is not above zero, and a reflection above 1 by more than 5 %.
    """
    wrapped = as_readings(readings)
    wrapped.require("frequency_mhz")
    stated = DIRECTIVITY_DB if directivity_db is None else directivity_db
    for name, value in (("directivity_db", stated), ("cable_loss_db", cable_loss_db)):
        if not (np.isfinite(value) and value >= 0):
            raise ReadingsError(name, found=value, allowed="zero dB or more", cure="give it as a positive number of dB")
    frequency = wrapped.table["frequency_mhz"].to_numpy(dtype=float)
    reflection = _reflection(wrapped)
    order = np.argsort(frequency, kind="stable")
    _refuse_bad(wrapped, frequency, np.abs(reflection), order)
    factor = 10.0 ** (2.0 * cable_loss_db / 20.0)
    sorted_reflection = factor * reflection[order]
    leak = factor * 10.0 ** (-stated / 20.0)
    checks = (
        _directivity(directivity_db, leak, np.abs(sorted_reflection)),
        _followed(frequency[order], sorted_reflection),
    )
    return Match(wrapped, frequency[order], sorted_reflection, leak, stated, checks)


def _reflection(readings: Readings) -> np.ndarray[Any, np.dtype[np.complex128]]:
    table = readings.table
    if {"s11_re", "s11_im"} <= set(table.columns):
        return np.asarray(
            table["s11_re"].to_numpy(dtype=float) + 1j * table["s11_im"].to_numpy(dtype=float), dtype=np.complex128
        )
    readings.require("forward_v", "reflected_v")
    forward = table["forward_v"].to_numpy(dtype=float)
    bad = np.flatnonzero(~(forward > 0))
    if bad.size:
        raise ReadingsError(
            "forward voltage not above zero", where=readings.place(int(bad[0])), found=float(forward[bad[0]]),
            allowed="a number above 0 V", cure="check which port of the coupler is which",
        )  # fmt: skip
    return np.asarray(np.abs(table["reflected_v"].to_numpy(dtype=float)) / forward, dtype=np.complex128)


def _refuse_bad(readings: Readings, frequency: FloatArray, size: FloatArray, order: Any) -> None:
    if frequency.size < 3:
        raise ReadingsError(
            "too few frequencies for a match", where=readings.place(0), found=frequency.size,
            allowed="three or more", cure="measure over the band in use",
        )  # fmt: skip
    twice = np.flatnonzero(np.diff(frequency[order]) == 0)
    if twice.size:
        row = int(order[twice[0] + 1])
        raise ReadingsError(
            "a frequency that stands twice", where=readings.place(row), found=Said(f"{frequency[row]:.6g} MHz"),
            allowed="each frequency once", cure="pass one of the two rows over",
        )  # fmt: skip
    above = np.flatnonzero(size > _ABOVE_ONE)
    if above.size:
        row = int(above[0])
        raise ReadingsError(
            "more comes back than went in", where=readings.place(row), found=found_size(float(size[row])),
            allowed="0 to 1", cure="check the calibration, and which port of the coupler is which",
        )  # fmt: skip


def _directivity(stated: float | None, leak: float, size: FloatArray) -> Check:
    hidden = float(np.mean(size < leak))
    detail = f"a leak of up to {leak:.3f} against reflections of {size.min():.3f} to {size.max():.3f}"
    if stated is None:
        return Check("directivity", False, f"{detail}; directivity not stated, {DIRECTIVITY_DB:g} dB assumed: state it")
    if hidden > 0:
        return Check(
            "directivity", False,
            f"{detail}: {100 * hidden:.0f} % of the frequencies reflect less than the coupler can tell; there only "
            "a least return loss is known",
        )  # fmt: skip
    return Check("directivity", True, detail)


def _followed(frequency: FloatArray, reflection: np.ndarray[Any, np.dtype[np.complex128]]) -> Check:
    steps = np.abs(np.diff(reflection))
    widest = int(np.argmax(steps))
    detail = f"largest change of reflection from one frequency to the next is {steps[widest]:.3f}, limit {_STEP:g}"
    passed = bool(steps[widest] <= _STEP)
    cure = f"; measure more closely near {frequency[widest]:.6g} MHz: a long cable turns the phase quickly"
    return Check("close enough", passed, detail if passed else detail + cure)
