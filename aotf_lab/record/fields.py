"""Fields of a kept calibration's file, each of the type that it must have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np

from aotf_lab.errors import RecordError, Said
from aotf_lab.estimation.problem import FloatArray

__all__ = ["Fields"]

_Kind = TypeVar("_Kind")

_CURE = "take the file as it was written, or make the calibration anew from its raw files"
_WORDS: Mapping[type, str] = {str: "text", bool: "true or false", dict: "a table", list: "a list", float: "a number"}


@dataclass(frozen=True)
class Fields:
    """A table of a file; every reader raises ``RecordError`` naming the file, the place and what stands there."""

    body: Mapping[str, Any]
    where: str

    def _value(self, key: str, kind: type[_Kind]) -> _Kind:
        if key not in self.body:
            raise RecordError(
                f"{key!r} is missing", where=self.where, found=Said(", ".join(self.body) or "nothing"),
                allowed=f"{key!r}: {_WORDS[kind]}", cure=_CURE,
            )  # fmt: skip
        return self._of_kind(self.body[key], kind, key)

    def _of_kind(self, value: Any, kind: type[_Kind], key: str) -> _Kind:
        if kind is float and isinstance(value, int) and not isinstance(value, bool):
            value = _as_float(value)
        if not isinstance(value, kind):
            raise RecordError(
                f"{key!r} is of the wrong kind",
                where=self.where,
                found=Said(_shown(value)),
                allowed=_WORDS[kind],
                cure=_CURE,
            )
        return value

    def text(self, key: str) -> str:
        """Return a text."""
        return self._value(key, str)

    def flag(self, key: str) -> bool:
        """Return true or false."""
        return self._value(key, bool)

    def number(self, key: str) -> float:
        """Return a number."""
        return self._value(key, float)

    def maybe(self, key: str) -> float | None:
        """Return a number, None for null or nothing."""
        return None if self.body.get(key) is None else self.number(key)

    def whole(self, key: str) -> int:
        """Return a whole number."""
        value = self.number(key)
        if value != int(value):
            raise RecordError(f"{key!r}", where=self.where, found=value, allowed="a whole number", cure=_CURE)
        return int(value)

    def row(self, key: str) -> FloatArray:
        """Return a list of numbers (n,)."""
        return self._row(self._value(key, list), key)

    def rows(self, key: str) -> tuple[FloatArray, ...]:
        """Return a list of lists of numbers."""
        lists = self._value(key, list)
        return tuple(self._row(self._of_kind(v, list, f"{key}, row {k + 1}"), key) for k, v in enumerate(lists))

    def numbers(self, key: str) -> dict[str, float]:
        """Return a table of numbers by name; null is not a number (NaN)."""
        table = self._value(key, dict)
        return {
            name: float("nan") if v is None else self._of_kind(v, float, f"{key}, {name}") for name, v in table.items()
        }

    def texts(self, key: str) -> dict[str, str]:
        """Return a table of texts by name."""
        return {name: self._of_kind(v, str, f"{key}, {name}") for name, v in self._value(key, dict).items()}

    def rows_by_name(self, key: str) -> dict[str, FloatArray]:
        """Return a table of lists of numbers by name."""
        table = self._value(key, dict)
        return {name: self._row(self._of_kind(v, list, f"{key}, {name}"), key) for name, v in table.items()}

    def pair(self, key: str) -> tuple[float, float]:
        """Return a list of two numbers."""
        return self._pair(self.row(key), key)

    def pairs(self, key: str) -> dict[str, tuple[float, float]]:
        """Return a table of pairs of numbers by name."""
        return {name: self._pair(row, f"{key}, {name}") for name, row in self.rows_by_name(key).items()}

    def _pair(self, row: FloatArray, key: str) -> tuple[float, float]:
        if len(row) != 2:
            raise RecordError(f"{key!r}", where=self.where, found=len(row), allowed="two numbers", cure=_CURE)
        return float(row[0]), float(row[1])

    def table(self, key: str) -> Fields:
        """Return a table within."""
        return Fields(self._value(key, dict), f"{self.where}, {key}")

    def tables(self, key: str) -> tuple[Fields, ...]:
        """Return a list of tables."""
        lists = self._value(key, list)
        return tuple(
            Fields(self._of_kind(v, dict, f"{key}, entry {k + 1}"), f"{self.where}, {key} {k + 1}")
            for k, v in enumerate(lists)
        )

    def _row(self, values: Sequence[Any], key: str) -> FloatArray:
        return np.array([self._of_kind(v, float, key) for v in values], dtype=float)


def _as_float(value: int) -> float:
    try:
        return float(value)
    except OverflowError:
        return float("inf")


def _shown(value: Any) -> str:
    words = repr(value)
    return words if len(words) <= 40 else f"{words[:37]}..."
