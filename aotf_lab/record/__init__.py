"""Calibrations that are kept, checked and renewed.

stored       values with what they share; calibration, oscillator, crystal: what is kept
make_...     from fitted curves to what is kept; kept_efficiency: light against RF power, and its curves again
file         as JSON, by body (the present schema), schema_1 and fields; sound: whether it can be relied on
folder       the history; compose: set-points from both calibrations
"""

from aotf_lab.record.calibration import Calibration, Update
from aotf_lab.record.compose import KeptSetPoints, kept_set_points
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.file import read_record, record_text
from aotf_lab.record.folder import KeptFile, RecordFolder, save_record
from aotf_lab.record.make_crystal import crystal_record
from aotf_lab.record.make_oscillator import oscillator_record
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.stored import CauseBook, StoredNumbers, stored_numbers

__all__ = [
    "Calibration",
    "CauseBook",
    "CrystalRecord",
    "KeptFile",
    "KeptSetPoints",
    "OscillatorRecord",
    "RecordFolder",
    "StoredNumbers",
    "Update",
    "crystal_record",
    "kept_set_points",
    "oscillator_record",
    "read_record",
    "record_text",
    "save_record",
    "stored_numbers",
]
