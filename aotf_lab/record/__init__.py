"""Calibrations that are kept, checked and renewed."""

from aotf_lab.record.calibration import Calibration, Update
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import CauseBook, StoredNumbers, stored_numbers

__all__ = [
    "Calibration",
    "CauseBook",
    "CrystalRecord",
    "OscillatorRecord",
    "StoredNumbers",
    "Update",
    "stored_numbers",
]
