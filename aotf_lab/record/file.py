"""A kept calibration as a file: written so that a person can read it, read so that nothing damaged passes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from aotf_lab.errors import RecordError, Said
from aotf_lab.record.body import CRYSTAL, OSCILLATOR, SCHEMA, body_of, crystal_from, oscillator_from
from aotf_lab.record.crystal import CrystalRecord
from aotf_lab.record.fields import Fields
from aotf_lab.record.json_text import body_sha256, json_text, parsed_json
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


def record_text(record: OscillatorRecord | CrystalRecord) -> str:
    """Return the file's text of ``record``. Raises ``RecordError`` when it holds numbers that cannot be."""
    require_sound(record, f"calibration {record.name} of {record.measured}")
    body = body_of(record)
    head = {"kind": body["kind"], "schema": body["schema"], "sha256": body_sha256(body)}
    return json_text(head | {key: value for key, value in body.items() if key not in head})


def read_record(path: str | os.PathLike[str]) -> OscillatorRecord | CrystalRecord:
    """Return the calibration in the file ``path``; files of schema 1 are read too.

    Raises ``RecordError`` for a file that cannot be read, is cut short or no JSON, is of another kind or of a newer
    schema, was changed since it was written (its hash tells), or holds numbers that cannot be.
    """
    where = Path(path).name
    try:
        content = Path(path).read_bytes()
    except OSError as error:
        raise RecordError(
            "the file cannot be read", where=where, found=Said(error.strerror or str(error)),
            allowed="a file of a kept calibration", cure="check the name and who may read it",
        ) from error  # fmt: skip
    body = parsed_json(content, where)
    record = _reader(body, where)(Fields(body, where))
    require_sound(record, where)
    return record


def _reader(body: Mapping[str, Any], where: str) -> Callable[[Fields], OscillatorRecord | CrystalRecord]:
    """Return what reads ``body``, whose kind, schema and hash are in order."""
    kind, schema = body.get("kind"), body.get("schema")
    if kind not in (OSCILLATOR, CRYSTAL):
        raise RecordError(
            "not a calibration of an oscillator or a crystal", where=where,
            found=Said("no kind" if kind is None else f"kind {kind!r}"),
            allowed=f"kind {OSCILLATOR!r} or {CRYSTAL!r}", cure="keep other files elsewhere",
        )  # fmt: skip
    if isinstance(schema, bool) or not isinstance(schema, int) or schema < 1 or schema > SCHEMA:
        newer = isinstance(schema, int) and schema > SCHEMA
        raise RecordError(
            "a schema that this version does not know", where=where, found=Said(repr(schema)),
            allowed=f"schema 1 to {SCHEMA}",
            cure="read it with a newer aotf_lab" if newer else "take the file as it was written",
        )  # fmt: skip
    if schema > 1 and body.get("sha256") != body_sha256(body):
        raise RecordError(
            "the file was changed after it was written: its hash does not fit", where=where,
            found=Said(f"sha256 {str(body.get('sha256'))[:12]}..., the content gives {body_sha256(body)[:12]}..."),
            allowed="the file as it was written", cure="take it from version control or a copy, or make it anew",
        )  # fmt: skip
    return _READERS[str(kind), schema]
