"""The packaged lists: results of a bench, readings that restore them, and what a change of each part does."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

__all__ = ["GONE", "Part", "Restoring", "Result", "parts", "restoring", "results"]

GONE = {"stays": 0, "check": 1, "renew": 2, "void": 3}
"""Verdict -> how far gone a result is."""


@dataclass(frozen=True)
class Result:
    """A result of a bench; ``inputs`` are the results that it is computed from, empty where it is measured.

    ``of`` names the kept calibration that holds it and ``lines`` what it holds of each line; empty where none does.
    """

    key: str
    name: str
    inputs: tuple[str, ...]
    of: str
    lines: str
    stays: str


@dataclass(frozen=True)
class Restoring:
    """A set of readings: what to do, how many, how long, and result -> how far gone it may be to be restored by it."""

    key: str
    do: str
    readings: int
    minutes: float
    restores: Mapping[str, int]

    def __str__(self) -> str:
        return f"{self.do}: {self.readings} reading{'s' if self.readings > 1 else ''}, {self.minutes:g} min"


@dataclass(frozen=True)
class Part:
    """A part that can be changed: what to mind first, and result -> (verdict, reason)."""

    key: str
    name: str
    first: str
    effects: Mapping[str, tuple[str, str]]


def _table(name: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads((files("aotf_lab.record.parts") / f"{name}.toml").read_text(encoding="utf-8"))


@lru_cache
def results() -> dict[str, Result]:
    """Return key -> ``Result``; what is computed comes after what it is computed from.

    >>> results()["set_points"].inputs
    ('oscillator', 'tuning', 'wavelengths')
    """
    return {
        key: Result(
            key, row["name"], tuple(row.get("from", ())), row.get("of", ""), row.get("lines", ""), row.get("stays", "")
        )
        for key, row in _table("results").items()
    }


@lru_cache
def restoring() -> dict[str, Restoring]:
    """Return key -> ``Restoring``, in the order in which they are taken.

    >>> print(restoring()["oscillator_three"])
    frequency at three voltages, the opening check: 3 readings, 3 min
    """
    return {
        key: Restoring(
            key, row["do"], row["readings"], row["minutes"], {r: GONE[how] for r, how in row["restores"].items()}
        )
        for key, row in _table("restoring").items()
    }


@lru_cache
def parts() -> dict[str, Part]:
    """Return key -> ``Part``.

    >>> parts()["amplifier"].effects["level"]
    ('void', "gain and ripple are another's")
    """
    return {
        key: Part(
            key, row["name"], row["first"], {r: (e[0], e[1]) for r, e in row.items() if r not in ("name", "first")}
        )
        for key, row in _table("parts").items()
    }
