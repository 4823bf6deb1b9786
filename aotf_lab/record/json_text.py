"""JSON that a person can read and version control can compare: one row a line, with a hash of what it says."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

from aotf_lab.errors import RecordError, Said

__all__ = ["body_sha256", "json_text", "parsed_json"]

_DEEPEST = 3
"""Below this depth everything stands on one line."""

_WHOLE = "a whole JSON file as it was written"
_CURE = "take the file from version control or a copy, or make the calibration anew"


def json_text(value: Mapping[str, Any]) -> str:
    """Return ``value`` as JSON: a key a line, a row of numbers a line, numbers with the digits that a double needs.

    >>> print(json_text({"a": 1.5, "rows": [[1.0], [2.0, 3.0]]}), end="")
    {
     "a": 1.5,
     "rows": [
      [1.0],
      [2.0, 3.0]
     ]
    }
    """
    return _text(value, 1) + "\n"


def _text(value: Any, depth: int) -> str:
    nested = isinstance(value, Mapping) or (
        isinstance(value, Sequence) and any(isinstance(v, str | Mapping | list | tuple) for v in value)
    )
    if isinstance(value, str) or not nested or not value or depth > _DEEPEST:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    edge, inner = " " * (depth - 1), " " * depth
    if isinstance(value, Mapping):
        rows = [f"{inner}{json.dumps(key, ensure_ascii=False)}: {_text(v, depth + 1)}" for key, v in value.items()]
        return "{\n" + ",\n".join(rows) + f"\n{edge}}}"
    rows = [f"{inner}{json.dumps(v, ensure_ascii=False, allow_nan=False)}" for v in value]
    return "[\n" + ",\n".join(rows) + f"\n{edge}]"


def body_sha256(body: Mapping[str, Any]) -> str:
    """Return the SHA-256 (hex) of what ``body`` says but for its own key "sha256"; white space does not count."""
    said = {key: value for key, value in body.items() if key != "sha256"}
    return hashlib.sha256(json.dumps(said, ensure_ascii=True, separators=(",", ":")).encode("ascii")).hexdigest()


def parsed_json(content: bytes, where: str) -> dict[str, Any]:
    """Return the JSON object in ``content`` (UTF-8).

    Raises ``RecordError`` for an empty file, other bytes than UTF-8, text that is no JSON object (with its line), a
    key that stands twice, and numbers that are none (NaN, Infinity).
    """
    if not content.strip():
        raise RecordError("the file is empty", where=where, found=Said("no text"), allowed=_WHOLE, cure=_CURE)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecordError(
            "the file is not text in UTF-8", where=where,
            found=Said(f"byte {content[error.start]:#04x} at {error.start}"),
            allowed=_WHOLE, cure=_CURE,
        ) from error  # fmt: skip

    def no_number(word: str) -> NoReturn:
        raise RecordError("a number that is none", where=where, found=word, allowed="finite numbers", cure=_CURE)

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        names = [name for name, _ in pairs]
        if len(set(names)) < len(names):
            twice = next(n for n in names if names.count(n) > 1)
            raise RecordError("a key that stands twice", where=where, found=twice, allowed="every key once", cure=_CURE)
        return dict(pairs)

    try:
        body = json.loads(text, parse_constant=no_number, object_pairs_hook=once)
    except (ValueError, RecursionError) as error:
        line = getattr(error, "lineno", None)
        raise RecordError(
            "the file is no whole JSON", where=f"{where}:{line}" if line else where,
            found=Said(getattr(error, "msg", type(error).__name__)), allowed=_WHOLE, cure=_CURE,
        ) from error  # fmt: skip
    if not isinstance(body, dict):
        raise RecordError(
            "the file is no calibration",
            where=where,
            found=Said(f"a {type(body).__name__}"),
            allowed=_WHOLE,
            cure=_CURE,
        )
    return body
