"""A kept calibration as a file: written so that a person can read it, read so that nothing damaged passes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path

from aotf_lab.reading.hashed_json import HashedJson
from aotf_lab.record.body import CRYSTAL, OSCILLATOR, SCHEMA, body_of, crystal_from, oscillator_from
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.fields import Fields
from aotf_lab.record.oscillator import OscillatorRecord
from aotf_lab.record.schema_1 import crystal_from_1, oscillator_from_1
from aotf_lab.record.sound import require_sound

__all__ = ["read_record", "record_text"]

_READERS: Mapping[tuple[str, int], Callable[[Fields], OscillatorRecord | CrystalRecord]] = {
    (OSCILLATOR, 1): oscillator_from_1,
    (CRYSTAL, 1): crystal_from_1,
    (OSCILLATOR, 2): oscillator_from,
    (CRYSTAL, 2): crystal_from,
}


_FORM = HashedJson(
    "calibration of an oscillator or a crystal", (OSCILLATOR, CRYSTAL), SCHEMA,
    "take the file from version control or a copy, or make the calibration anew", "sha256", frozenset({"sha256"}),
    compact=True, hashed_from=2,
)  # fmt: skip


def record_text(record: OscillatorRecord | CrystalRecord) -> str:
    """Return the file's text of ``record``. Raises ``RecordError`` when it holds numbers that cannot be."""
    require_sound(record, f"calibration {record.name} of {record.measured}")
    return _FORM.text(OSCILLATOR if isinstance(record, OscillatorRecord) else CRYSTAL, body_of(record))


def read_record(path: str | os.PathLike[str]) -> OscillatorRecord | CrystalRecord:
    """Return the calibration in the file ``path``; files of schema 1 are read too.

    Raises ``RecordError`` for a file that cannot be read, is cut short or no JSON, is of another kind or of a newer
    schema, was changed since it was written (its hash tells), or holds numbers that cannot be.
    """
    body, where = _FORM.read(path), Path(path).name
    record = _READERS[body["kind"], body["schema"]](Fields(body, where))
    require_sound(record, where)
    return record
