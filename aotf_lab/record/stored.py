"""Numbers that outlive their fit: values, what they share with others made by one instrument, and the rest."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

import numpy as np
from uncertainties import UFloat, nominal_value, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.numbers import LinearNumbers, linear_numbers
from aotf_lab.given import given, given_table
from aotf_lab.reading.instruments import UNSTATED

__all__ = ["COMMON_CAUSES", "SHARED", "CauseBook", "StoredNumbers", "common_keys", "stored_numbers"]

COMMON_CAUSES = frozenset(UNSTATED.causes) | {"power meter time constant"}
"""Causes of error that belong to an instrument: all that is measured with it shares them."""

_KINDS = ("counter", "voltmeter", "scope", "power meter")
"""Kinds of instrument of which a lab may have several; the names of their causes begin with these words."""

_Made = TypeVar("_Made")

REST = "what this calibration shares with no other"


class CauseBook:
    """One variable for each common cause, and one set of variables for what each set of numbers has alone.

    Two calibrations asked with one book keep what they share: made with one counter, they share its time base.
    """

    def __init__(self) -> None:
        self._variables: dict[str, UFloat] = {}
        self._numbers: WeakKeyDictionary[StoredNumbers, LinearNumbers] = WeakKeyDictionary()
        self._made: WeakKeyDictionary[Any, Any] = WeakKeyDictionary()

    def variable(self, key: str) -> UFloat:
        """Return the variable 0 +- 1 of the cause ``key``: always the same one, tagged with the key."""
        if key not in self._variables:
            self._variables[key] = ufloat(0.0, 1.0, tag=key)
        return self._variables[key]

    def numbers(self, stored: StoredNumbers) -> LinearNumbers:
        """Return ``stored`` on this book's variables: always the same ones."""
        if stored not in self._numbers:
            own = linear_numbers(stored.values, {stored.rest_name: stored.rest})
            shared = [np.asarray(effect, dtype=float)[:, None] for effect in stored.causes.values()]
            self._numbers[stored] = LinearNumbers(
                stored.values,
                np.concatenate([*shared, own.factor], axis=1),
                (*map(self.variable, stored.causes), *own.variables),
            )
        return self._numbers[stored]

    def made_of(self, calibration: object, make: Callable[[], _Made]) -> _Made:
        """Return what ``make`` made of ``calibration`` on this book's variables: always the same one."""
        if calibration not in self._made:
            self._made[calibration] = make()
        made: _Made = self._made[calibration]
        return made


SHARED = CauseBook()
"""The book that every calibration uses unless it is given another."""


@dataclass(frozen=True, eq=False)
class StoredNumbers:
    """``names`` (n) with ``values`` (n,) and their uncertainty, made by ``stored_numbers``.

    ``causes`` maps a common cause to the change (n,) of each value by +1 standard uncertainty of that cause. Its key
    is the cause's name, and "@" with the instrument's name where that is stated. ``rest`` (n, n) is the covariance of
    all else; ``rest_name`` is what a budget calls it.
    """

    names: tuple[str, ...]
    values: FloatArray
    causes: Mapping[str, FloatArray]
    rest: FloatArray
    rest_name: str = REST

    def __len__(self) -> int:
        return len(self.names)

    def __contains__(self, name: object) -> bool:
        return name in self._places

    @cached_property
    def _places(self) -> dict[str, int]:
        return {name: k for k, name in enumerate(self.names)}

    def place(self, name: str) -> int:
        """Return the position of ``name``. Raises ``AotfLabError`` when there is no such number."""
        if name not in self._places:
            raise AotfLabError(
                "no such number in this calibration",
                found=name,
                allowed=", ".join(self.names),
                cure="use a listed name",
            )
        return self._places[name]

    def covariance(self) -> FloatArray:
        """Return the covariance (n, n) from all causes."""
        return sum((np.outer(effect, effect) for effect in self.causes.values()), np.array(self.rest, dtype=float))

    def variables(self, causes: CauseBook = SHARED) -> tuple[UFloat, ...]:
        """Return the numbers (n) on the variables of ``causes``, with all their correlations."""
        return tuple(self.combine(np.eye(len(self)), causes))

    def combine(self, weights: FloatArray, causes: CauseBook = SHARED) -> list[UFloat]:
        """Return the m numbers ``weights`` (m, n) @ these, on the variables of ``causes``."""
        return causes.numbers(self).combine(weights)

    def number(self, name: str, causes: CauseBook = SHARED) -> UFloat:
        """Return one number by name. Raises ``AotfLabError`` when there is no such number."""
        weights = np.zeros((1, len(self)))
        weights[0, self.place(name)] = 1.0
        return self.combine(weights, causes)[0]


def stored_numbers(
    numbers: Mapping[str, Any], *, common: Mapping[str, str] | None = None, rest_name: str = REST
) -> StoredNumbers:
    """Return ``numbers`` (name -> ``ufloat`` or float) as values, common causes and the covariance of the rest.

    ``common`` maps the tag of a common cause to the key under which it is kept; by default each of ``COMMON_CAUSES``
    is kept under its own name. A tag that two variables carry is no one cause and goes into the rest.
    """
    keys = {tag: tag for tag in COMMON_CAUSES} if common is None else common
    slopes = [n.derivatives if isinstance(n, UFloat) else {} for n in numbers.values()]
    variables = {variable: k for k, variable in enumerate(dict.fromkeys(v for row in slopes for v in row))}
    effects = np.zeros((len(slopes), len(variables)))
    for row, by_variable in enumerate(slopes):
        for variable, slope in by_variable.items():
            effects[row, variables[variable]] = slope * variable.s
    tags = [variable.tag for variable in variables]
    alone = [k for k, tag in enumerate(tags) if tag in keys and tags.count(tag) == 1]
    others = effects[:, [k for k in range(len(tags)) if k not in alone]]
    causes = {keys[str(tags[k])]: effects[:, k] for k in alone if np.any(effects[:, k])}
    values = np.array([nominal_value(n) for n in numbers.values()], dtype=float)
    return StoredNumbers(
        tuple(numbers), values, {key: causes[key] for key in sorted(causes)}, others @ others.T, rest_name
    )


def common_keys(instruments: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return tag -> key of ``COMMON_CAUSES``; ``instruments`` names those of a bench that has more than one of a kind.

    Raises ``AotfLabError`` for what is no table of kinds and names, and for a kind whose errors nothing shares.

    >>> common_keys({"counter": "counter 2"})["counter time base"]
    'counter time base@counter 2'
    """
    example = 'write {"counter": "counter 2"}'
    named = given_table(instruments or {}, "instruments", "kinds of instrument and their names", example)
    for kind, name in named.items():
        if kind not in _KINDS:
            what = "no such kind of instrument, whose errors calibrations share"
            raise AotfLabError(what, found=kind, allowed=", ".join(_KINDS), cure=example)
        given(name, str, f"name of the {kind}", "text", example)
    return {
        tag: next((f"{tag}@{name}" for kind, name in named.items() if tag.startswith(f"{kind} ")), tag)
        for tag in COMMON_CAUSES
    }
