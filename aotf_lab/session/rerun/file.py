"""Results as a file: JSON with one number or check a line, so that version control shows what changed."""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import Any

from aotf_lab.errors import RecordError, Said
from aotf_lab.reading.hashed_json import HashedJson
from aotf_lab.reading.source import SourceFile
from aotf_lab.session.rerun.failed import failed_in_words
from aotf_lab.session.rerun.row import ResultCheck, ResultRow
from aotf_lab.session.rerun.table import ResultTable

__all__ = ["loaded_results", "results_text"]

_KIND = "aotf_lab results"
_CURE = "take the file from version control or a copy, or write the results anew from the archived session"
_FORM = HashedJson(
    "table of a session's results", (_KIND,), 1, _CURE, "body_sha256", frozenset({"kind", "schema", "body_sha256"}),
    compact=False,
)  # fmt: skip


def results_text(table: ResultTable) -> str:
    """Return ``table`` as JSON (ends with a line end); a number stands in the fewest digits that restore it.

    A table without checks, read from a file of a version that kept the failed alone, gives such a file again.
    """
    checks = [[c.of, c.name, c.passed, c.detail, c.of_limit] for c in table.checks]
    return _FORM.text(_KIND, {
        "name": table.name,
        "versions": dict(table.versions),
        "missing": dict(table.missing),
        "failed": list(table.failed),
        **({"failed_in_words": failed_in_words(table.failed), "checks": checks} if checks else {}),
        "sources": [[s.name, s.sha256, s.size_bytes] for s in table.sources],
        "rows": [[r.key, r.line, r.value, r.u, r.unit] for r in table.rows],
    })  # fmt: skip


def loaded_results(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Return the fields of the ``ResultTable`` that the file holds.

    Raises ``RecordError`` for a file that cannot be read, is no JSON, of another kind, of a newer schema, not as it was
    written or incomplete.
    """
    found = _FORM.read(path)
    try:
        return {
            "name": str(found["name"]),
            "rows": tuple(_row(*entry) for entry in found["rows"]),
            "sources": tuple(SourceFile(str(n), str(h), int(size)) for n, h, size in found["sources"]),
            "versions": {str(k): str(v) for k, v in found["versions"].items()},
            "missing": {str(k): str(v) for k, v in found["missing"].items()},
            "failed": tuple(str(check) for check in found["failed"]),
            "checks": tuple(_check(*entry) for entry in found.get("checks", ())),
        }
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordError(
            "results that are incomplete", where=Path(path).name, found=Said(f"{type(error).__name__}: {error}"),
            allowed="all fields, each as it was written", cure=_CURE,
        ) from None  # fmt: skip


def _check(of: str, name: str, passed: bool, detail: str, of_limit: float | None) -> ResultCheck:
    if not isinstance(passed, bool):
        raise ValueError(f"{of}: {name} says neither true nor false")
    return ResultCheck(str(of), str(name), passed, str(detail), None if of_limit is None else float(of_limit))


def _row(key: str, line: str, value: float, u: float | None, unit: str) -> ResultRow:
    numbers = (float(value), None if u is None else float(u))
    if not all(math.isfinite(n) for n in numbers if n is not None):
        raise ValueError(f"{key} is not finite")
    return ResultRow(str(key), str(line), *numbers, str(unit))
