"""Every number that a part of a session found, whatever part that is: taken from the names that its results bear.

Names end in their unit and numbers with an uncertainty are ``uncertainties`` variables throughout this library. So a
part that is new to this file is collected like the others, and nobody has to list its numbers here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check, Fit
from aotf_lab.session.rerun.row import ResultCheck, ResultRow, unit_of

__all__ = ["checks_of", "result_check", "result_row", "rows_of"]

_NUMBERS = {"UFloat", "float", "Number", "None"}
_CHECKS = {"tuple[Check, ...]"}
_DEEPEST = 1
_NO_RESULTS = ("aotf_lab.reading.", "aotf_lab.estimation.")
"""Rooms whose objects hold what went into a result, not what came out of it."""


def rows_of(part: str, result: object) -> Iterator[ResultRow]:
    """Yield the numbers of ``result``: those with an uncertainty, and plain ones whose name states a unit.

    They are the public numbers of the result and of what it shows of itself, chi-square, and the parameters of its
    fits that do not bear the name of such a number. What is infinite or cannot be told (an ``AotfLabError``), and
    members of a list that have no names, are left out.
    """
    for key, line, found in _walk(part, "", result, 0):
        if isinstance(found, Fit):
            own = {name: value for name, value in found.parameters.items() if isinstance(value, UFloat)}
            for name, value in {**own, "chi2": float(found.chi2), "dof": float(found.dof)}.items():
                yield from result_row(f"{key}.{name}", line, value)
        elif not isinstance(found, Check):
            yield from result_row(key, line, found)


def checks_of(part: str, result: object) -> Iterator[ResultCheck]:
    """Yield each check of ``result``, passed or not, with the part and line that it belongs to."""
    for key, line, found in _walk(part, "", result, 0):
        checks = found.checks if isinstance(found, Fit) else (found,) if isinstance(found, Check) else ()
        place = key.removesuffix(".fit").removesuffix(".checks")
        for check in checks:
            yield result_check(f"{place}{f' [{line}]' if line else ''}", check)


def result_check(of: str, check: Check) -> ResultCheck:
    """Return ``check`` as one of what ``of`` names; a share of its limit that is not finite is none."""
    share = None if check.of_limit is None or not np.isfinite(check.of_limit) else float(check.of_limit)
    return ResultCheck(of, check.name, bool(check.passed), check.detail, share)


def result_row(key: str, line: str, value: Any) -> Iterator[ResultRow]:
    """Yield the row of ``value`` (``UFloat`` or float), none where it or its u is not finite."""
    u = float(value.s) if isinstance(value, UFloat) else None
    number = float(nominal_value(value))
    if np.isfinite(number) and (u is None or np.isfinite(u)):
        yield ResultRow(key, line, number, u, unit_of(key.rpartition(".")[2]))


def _walk(key: str, line: str, value: object, depth: int) -> Iterator[tuple[str, str, Any]]:
    """Yield (key, line, number or ``Fit`` or ``Check``) of all that ``value`` holds."""
    if isinstance(value, (UFloat, Fit, Check)):
        yield key, line, value
    elif isinstance(value, Mapping):
        for name, item in value.items():
            words = " at ".join(map(str, name)) if isinstance(name, tuple) else str(name)
            yield from _walk(key, "/".join(filter(None, (line, words))), item, depth)
    elif isinstance(value, tuple):
        for name, item in _named(value):
            yield from _walk(key, "/".join(filter(None, (line, name))), item, depth)
    elif is_dataclass(value) and not type(value).__module__.startswith(_NO_RESULTS) and depth <= _DEEPEST:
        for name, item in _attributes(value):
            if isinstance(item, float):
                if unit_of(name):
                    yield f"{key}.{name}", line, item
            else:
                yield from _walk(f"{key}.{name}", line, item, depth + 1)


def _named(items: tuple[object, ...]) -> Iterator[tuple[str, object]]:
    """Yield the members of a list with a name each: their line, for numbers their position, for checks none."""
    lines = [getattr(item, "line", None) for item in items]
    distinct = len({line for line in lines if isinstance(line, str)}) == len(items)
    for position, (item, line) in enumerate(zip(items, lines, strict=True), 1):
        if isinstance(item, Check):
            yield "", item
        elif isinstance(item, UFloat):
            yield f"#{position}", item
        elif distinct:
            yield str(line), item


def _attributes(result: Any) -> Iterator[tuple[str, Any]]:
    """Yield name and value of the public fields that ``result`` shows, and of properties that are numbers or checks.

    A field that is kept out of ``repr`` is a means, not a result; fit, checks and numbers are taken all the same.
    """
    for field in fields(result):
        value = getattr(result, field.name)
        if not field.name.startswith("_") and (
            field.repr or field.name == "checks" or isinstance(value, (Fit, UFloat))
        ):
            yield field.name, value
    for kind in type(result).__mro__:
        for name, member in vars(kind).items():
            function = member.fget if isinstance(member, property) else getattr(member, "func", None)
            if name.startswith("_") or not isinstance(member, (property, cached_property)) or function is None:
                continue
            said = str(function.__annotations__.get("return", ""))
            kinds = {word.strip() for word in said.split("|")}
            if kinds <= _NUMBERS or kinds == _CHECKS:
                try:
                    yield name, getattr(result, name)
                except AotfLabError:
                    continue
