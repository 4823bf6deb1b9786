"""What a caller gave: of the kind that is asked for, or an error that says what was given instead.

For the doors that people use by hand, where a path stands for an open session, a list for one or text for a number.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from numbers import Real
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from uncertainties import UFloat

from aotf_lab.errors import AotfLabError, RecordError, Said

__all__ = [
    "given",
    "given_day",
    "given_list",
    "given_number",
    "given_numbers",
    "given_path",
    "given_several",
    "given_table",
]

_Kind = TypeVar("_Kind")

_WORDS: dict[type, str] = {
    type(None): "nothing", list: "a list", tuple: "a tuple", dict: "a table of names", bytes: "bytes", type: "a class",
}  # fmt: skip


def given(value: object, kind: type[_Kind], name: str, allowed: str, cure: str) -> _Kind:
    """Return ``value``, the argument ``name``. Raises ``AotfLabError`` when it is no ``kind``.

    >>> given("bench", int, "number", "a whole number", "count them")
    Traceback (most recent call last):
    aotf_lab.errors.AotfLabError: number of another kind; found 'bench'; allowed: a whole number; count them
    """
    if not isinstance(value, kind):
        _refuse(value, name, allowed, cure)
    return value


def given_path(value: object, name: str, allowed: str, cure: str) -> Path:
    """Return ``value``, a text or a path. Raises ``AotfLabError`` for anything else, and for what no file can be named.

    >>> given_path("bench", "folder", "a folder", "name it").name
    'bench'
    """
    if not isinstance(value, (str, os.PathLike)):
        _refuse(value, name, allowed, cure)
    path = Path(value)
    try:
        possible = b"\0" not in os.fsencode(path)
    except UnicodeEncodeError:  # half of a character
        possible = False
    if not possible:
        what = f"{name}: a character that no path can have"
        raise AotfLabError(
            what, found=Said(ascii(str(path))), allowed=allowed, cure=f"leave that character out, or {cure}"
        )
    return path


def given_list(value: object, name: str, allowed: str, cure: str) -> Iterable[Any]:
    """Return ``value``, several of a kind in a list or a generator. Raises ``AotfLabError`` for one alone, and a text.

    >>> given_list("a.csv", "files", "files in a list", 'put it into a list')
    Traceback (most recent call last):
    aotf_lab.errors.AotfLabError: files of another kind; found 'a.csv'; allowed: files in a list; put it into a list
    """
    one = isinstance(value, (str, bytes, os.PathLike)) or getattr(value, "ndim", 1) == 0
    if one or not isinstance(value, Iterable):
        _refuse(value, name, allowed, cure)
    return value


def given_several(value: object, name: str, allowed: str, cure: str) -> tuple[Any, ...]:
    """Return ``value``, one text or several in a list, as a tuple. Raises as ``given_list`` for anything else.

    >>> given_several("vco", "parts", "names of parts", "name one")
    ('vco',)
    """
    return (value,) if isinstance(value, str) else tuple(given_list(value, name, allowed, cure))


def given_numbers(value: object, name: str) -> list[float]:
    """Return ``value``, plain numbers in a list, an array or a column. Raises ``AotfLabError`` for anything else.

    >>> given_numbers([1, "2"], "values")
    Traceback (most recent call last):
    aotf_lab.errors.AotfLabError: one of values of another kind; found '2'; allowed: a number; give plain numbers
    """
    found = []
    for number in given_list(value, name, "plain numbers in a list", "put them into a list"):
        if isinstance(number, bool) or not isinstance(number, Real):
            _refuse(number, f"one of {name}", "a number", "give plain numbers")
        found.append(float(number))
    return found


def given_table(value: object, name: str, allowed: str, cure: str) -> Mapping[Any, Any]:
    """Return ``value``, things by their names. Raises ``AotfLabError`` for anything but a mapping."""
    if not isinstance(value, Mapping):
        _refuse(value, name, allowed, cure)
    return value


def given_day(value: object, name: str) -> str:
    """Return a day as ISO text, from that or from a ``datetime.date`` (a time of day is left out).

    Raises ``RecordError`` for anything else.

    >>> given_day(date(2031, 3, 2), "measured")
    '2031-03-02'
    """
    text = value
    if isinstance(value, date):
        text = (value.date() if isinstance(value, datetime) else value).isoformat()
    if isinstance(text, str):
        try:
            if date.fromisoformat(text).isoformat() == text:
                return text
        except ValueError:
            pass
    raise RecordError(
        f"{name}: a date that is none", found=_shown(value), allowed='year-month-day, such as "2031-03-02", or a date',
        cure="state the date so",
    )  # fmt: skip


def given_number(
    value: object,
    name: str,
    unit: str = "",
    *,
    above: float | None = None,
    at_least: float | None = None,
    with_u: bool = False,
    whole: bool = False,
) -> Any:
    """Return ``value`` as float, as int where it must be ``whole``; unchanged where it may have a u (``with_u``).

    Raises ``AotfLabError`` for text, a list, an uncertainty that has no place here, and a number that is not finite,
    not whole, not ``above`` or below ``at_least``, or whose u is not finite.

    >>> given_number(3, "step", "V", above=0)
    3.0
    """
    bound = f" above {above:g}" if above is not None else "" if at_least is None else f", {at_least:g} or more"
    allowed = f"a {'whole' if whole else 'finite'} number{bound}{f' ({unit})' if unit else ''}"
    number = value.n if isinstance(value, UFloat) else value
    if isinstance(value, UFloat) and not with_u:
        _refuse(value, name, f"{allowed}, without an uncertainty", f"give its value alone, {name}.n")
    if isinstance(number, bool) or not isinstance(number, Real):
        cure = "give the number without quotation marks" if isinstance(value, str) else "give one number"
        _refuse(value, name, allowed, cure)
    size, u = float(number), float(value.s) if isinstance(value, UFloat) else 0.0
    if not math.isfinite(u):
        raise AotfLabError(f"u of {name} out of bounds", found=u, allowed="a finite number", cure="state it")
    low = (above is not None and size <= above) or (at_least is not None and size < at_least)
    if not math.isfinite(size) or low or (whole and size != int(size)):
        raise AotfLabError(f"{name} out of bounds", found=number, allowed=allowed, cure="correct it")
    return value if isinstance(value, UFloat) else int(size) if whole else size


def _refuse(value: object, name: str, allowed: str, cure: str) -> NoReturn:
    raise AotfLabError(f"{name} of another kind", found=_shown(value), allowed=allowed, cure=cure)


def _shown(value: object) -> object:
    """Return what an error shows: text, paths and numbers as they are, else the kind alone."""
    if isinstance(value, os.PathLike):
        return os.fspath(value)
    if isinstance(value, (str, Real, UFloat)):
        return value
    return Said(_WORDS.get(type(value), f"an object of the kind {type(value).__name__}"))
