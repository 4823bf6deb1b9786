"""JSON that a person can read and version control can compare: one row a line, with a hash of what it says."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NoReturn

from aotf_lab.errors import RecordError, Said
from aotf_lab.given import given_path

__all__ = ["HashedJson", "json_text"]

_DEEPEST = 3
"""Below this depth everything stands on one line."""

_WHOLE = "a whole JSON file as it was written"


@dataclass(frozen=True)
class HashedJson:
    """A form of file: ``what`` it holds, in words that follow "no", its ``kinds`` and its newest ``schema``.

    ``cure`` says where a sound file is to be had. The hash stands under ``hash_key``, from schema ``hashed_from`` on;
    it is the SHA-256 (hex) of all but the keys ``unhashed``, as JSON in ASCII without spaces if ``compact``, else in
    UTF-8 with one space after each comma and colon. In a form that is not ``compact`` a table stands on one line.
    """

    what: str
    kinds: tuple[str, ...]
    schema: int
    cure: str
    hash_key: str
    unhashed: frozenset[str]
    compact: bool
    hashed_from: int = 1

    def text(self, kind: str, body: Mapping[str, Any]) -> str:
        """Return ``body`` as the text of a file of ``kind``, headed by kind, schema and hash."""
        head: dict[str, Any] = {"kind": kind, "schema": self.schema}
        head[self.hash_key] = self.sha256({**head, **body})
        return json_text({**head, **body}, tables_in_lines=self.compact)

    def sha256(self, body: Mapping[str, Any]) -> str:
        """Return the hash of what ``body`` says; white space in the file does not count."""
        said = {key: value for key, value in body.items() if key not in self.unhashed}
        separators = (",", ":") if self.compact else None
        text = json.dumps(said, ensure_ascii=self.compact, separators=separators)
        return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()

    def read(self, path: str | os.PathLike[str]) -> dict[str, Any]:
        """Return what the file ``path`` says, its kind, schema and hash in order.

        Raises ``RecordError`` for a file that cannot be read, is empty, no UTF-8 or no JSON (with its line), of another
        kind or of a schema that is not known, or was changed since it was written; for a key that stands twice and
        numbers that are none (NaN, Infinity).
        """
        file = given_path(path, "path", f"the path of a file that holds a {self.what}", "name the file")
        where = file.name
        try:
            content = file.read_bytes()
        except OSError as error:
            raise RecordError(
                "the file cannot be read", where=where, found=Said(error.strerror or str(error)),
                allowed=f"a file that holds a {self.what}", cure="check the name and who may read it",
            ) from None  # fmt: skip
        body = self._parsed(content, where)
        self._require_own(body, where)
        return body

    def _require_own(self, body: Mapping[str, Any], where: str) -> None:
        kind, schema = body.get("kind"), body.get("schema")
        if kind not in self.kinds:
            raise RecordError(
                f"the file holds no {self.what}", where=where,
                found=Said("no kind" if kind is None else f"kind {kind!r}"),
                allowed=f"kind {' or '.join(map(repr, self.kinds))}", cure="keep other files elsewhere",
            )  # fmt: skip
        if isinstance(schema, bool) or not isinstance(schema, int) or not 1 <= schema <= self.schema:
            newer = isinstance(schema, int) and schema > self.schema
            raise RecordError(
                "a schema that this version does not know", where=where, found=Said(repr(schema)),
                allowed=f"schema 1 to {self.schema}" if self.schema > 1 else "schema 1",
                cure="read it with a newer aotf_lab" if newer else "take the file as it was written",
            )  # fmt: skip
        if schema >= self.hashed_from and body.get(self.hash_key) != self.sha256(body):
            stated, own = str(body.get(self.hash_key)), self.sha256(body)
            raise RecordError(
                "the file was changed after it was written: its hash does not fit", where=where,
                found=Said(f"{self.hash_key} {stated[:12]}..., the content gives {own[:12]}..."),
                allowed="the file as it was written", cure=self.cure,
            )  # fmt: skip

    def _parsed(self, content: bytes, where: str) -> dict[str, Any]:
        def refuse(what: str, found: object, line: int | None = None, allowed: str = _WHOLE) -> NoReturn:
            place = f"{where}:{line}" if line else where
            raise RecordError(what, where=place, found=found, allowed=allowed, cure=self.cure) from None

        def no_number(word: str) -> NoReturn:
            refuse("a number that is none", word, allowed="finite numbers")

        def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
            names = [name for name, _ in pairs]
            if len(set(names)) < len(names):
                twice = next(n for n in names if names.count(n) > 1)
                refuse("a key that stands twice", twice, allowed="every key once")
            return dict(pairs)

        if not content.strip():
            refuse("the file is empty", Said("no text"))
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            refuse("the file is not text in UTF-8", Said(f"byte {content[error.start]:#04x} at {error.start}"))
        try:
            body = json.loads(text, parse_constant=no_number, object_pairs_hook=once)
        except (ValueError, RecursionError) as error:
            words = getattr(error, "msg", type(error).__name__)
            refuse("the file is no whole JSON", Said(words), getattr(error, "lineno", None))
        if not isinstance(body, dict):
            refuse(f"the file holds no {self.what}", Said(f"a {type(body).__name__}"))
        return body


def json_text(value: Mapping[str, Any], *, tables_in_lines: bool = True) -> str:
    """Return ``value`` as JSON: a key a line, a row of numbers a line, numbers with the digits that a double needs.

    A table inside it stands on one line unless ``tables_in_lines``.

    >>> print(json_text({"a": 1.5, "rows": [[1.0], [2.0, 3.0]]}), end="")
    {
     "a": 1.5,
     "rows": [
      [1.0],
      [2.0, 3.0]
     ]
    }
    """
    return _text(value, 1, tables_in_lines) + "\n"


def _text(value: Any, depth: int, tables_in_lines: bool) -> str:
    table = isinstance(value, Mapping)
    nested = (table and (depth == 1 or tables_in_lines)) or (
        isinstance(value, list | tuple) and any(isinstance(v, str | Mapping | list | tuple) for v in value)
    )
    if not nested or not value or depth > _DEEPEST:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    edge, inner = " " * (depth - 1), " " * depth
    if table:
        rows = [
            f"{inner}{json.dumps(key, ensure_ascii=False)}: {_text(v, depth + 1, tables_in_lines)}"
            for key, v in value.items()
        ]
        return "{\n" + ",\n".join(rows) + f"\n{edge}}}"
    rows = [f"{inner}{json.dumps(v, ensure_ascii=False, allow_nan=False)}" for v in value]
    return "[\n" + ",\n".join(rows) + f"\n{edge}]"
