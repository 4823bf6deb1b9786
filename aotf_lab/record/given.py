"""Calibrations that a caller gave, told apart from sessions, paths and each other."""

from __future__ import annotations

from aotf_lab.given import given
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.oscillator import OscillatorRecord

__all__ = ["given_crystal", "given_oscillator"]


def given_oscillator(value: object) -> OscillatorRecord:
    """Return ``value``. Raises ``AotfLabError`` when it is no calibration of an oscillator."""
    return given(
        value, OscillatorRecord, "oscillator", "the kept calibration of an oscillator",
        "take it from its folder: RecordFolder(folder).latest_oscillator()",
    )  # fmt: skip


def given_crystal(value: object) -> CrystalRecord:
    """Return ``value``. Raises ``AotfLabError`` when it is no calibration of a crystal."""
    return given(
        value, CrystalRecord, "crystal", "the kept calibration of a crystal",
        "take it from its folder: RecordFolder(folder).latest_crystal()",
    )  # fmt: skip
