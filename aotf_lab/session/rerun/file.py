"""Results as a file: JSON with one number a line, so that version control shows what changed."""

from __future__ import annotations

import hashlib
import json
import math
import os
from pathlib import Path
from typing import Any

from aotf_lab.errors import RecordError, Said
from aotf_lab.reading.source import SourceFile
from aotf_lab.session.rerun.row import ResultRow
from aotf_lab.session.rerun.table import ResultTable

__all__ = ["KIND", "SCHEMA", "loaded_results", "results_text"]

KIND = "aotf_lab results"
SCHEMA = 1

_CURE = "write the results anew from the archived session"


def results_text(table: ResultTable) -> str:
    """Return ``table`` as JSON (ends with a line end); a number stands in the fewest digits that restore it."""
    head = {"kind": KIND, "schema": SCHEMA, "body_sha256": _hash_of(table), **_head(table)}
    lines = [f" {_json(key)}: {_json(value)}," for key, value in head.items()]
    for key, entries in _lists(table).items():
        last = key == "rows"
        inside = ",\n".join(f"  {_json(entry)}" for entry in entries)
        lines.append(f" {_json(key)}: [{f'{chr(10)}{inside}{chr(10)} ' if entries else ''}]{'' if last else ','}")
    return "{\n" + "\n".join(lines) + "\n}\n"


def loaded_results(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Return the fields of the ``ResultTable`` that the file holds.

    Raises ``RecordError`` for a file that cannot be read, is no JSON, of another kind, of a newer schema, incomplete
    or not as it was written.
    """
    name = Path(path).name
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise _refused("results that cannot be read", name, Said(error.strerror or str(error)), "a file") from error
    except ValueError as error:
        raise _refused("no JSON", name, Said(str(error)), "JSON as aotf_lab writes it") from error
    kind = found.get("kind") if isinstance(found, dict) else type(found).__name__
    if kind != KIND:
        raise _refused("a file of another kind", name, str(kind), f'"kind": "{KIND}"')
    if found.get("schema") != SCHEMA:
        raise _refused("results of another schema", name, Said(str(found.get("schema"))), f'"schema": {SCHEMA}')
    try:
        fields: dict[str, Any] = {
            "name": str(found["name"]),
            "rows": tuple(_row(*entry) for entry in found["rows"]),
            "sources": tuple(SourceFile(str(n), str(h), int(size)) for n, h, size in found["sources"]),
            "versions": {str(k): str(v) for k, v in found["versions"].items()},
            "missing": {str(k): str(v) for k, v in found["missing"].items()},
            "failed": tuple(str(check) for check in found["failed"]),
        }
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        what = f"{type(error).__name__}: {error}"
        raise _refused("results that are incomplete", name, Said(what), "all fields, each as it was written") from error
    if _hash_of(ResultTable(**fields)) != found.get("body_sha256"):
        raise _refused("results that were changed by hand or damaged", name, Said("another sha256 of the body"),
                       f"sha256 {found.get('body_sha256')}")  # fmt: skip
    return fields


def _refused(what: str, name: str, found: object, allowed: str) -> RecordError:
    return RecordError(what, where=name, found=found, allowed=allowed, cure=_CURE)


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def _head(table: ResultTable) -> dict[str, Any]:
    return {"name": table.name, "versions": dict(table.versions), "missing": dict(table.missing)}


def _lists(table: ResultTable) -> dict[str, list[Any]]:
    return {
        "failed": list(table.failed),
        "sources": [[s.name, s.sha256, s.size_bytes] for s in table.sources],
        "rows": [[r.key, r.line, r.value, r.u, r.unit] for r in table.rows],
    }


def _hash_of(table: ResultTable) -> str:
    return hashlib.sha256(_json({**_head(table), **_lists(table)}).encode()).hexdigest()


def _row(key: str, line: str, value: float, u: float | None, unit: str) -> ResultRow:
    numbers = (float(value), None if u is None else float(u))
    if not all(math.isfinite(n) for n in numbers if n is not None):
        raise ValueError(f"{key} is not finite")
    return ResultRow(str(key), str(line), *numbers, str(unit))
