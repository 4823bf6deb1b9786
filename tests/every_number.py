"""Every number with an uncertainty that can be reached from an object, and the variables that it rests on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from uncertainties.core import AffineScalarFunc, Variable

__all__ = ["numbers_of", "variables_of"]

_PLAIN = (str, bytes, int, float, complex, type(None), type)


def numbers_of(root: Any, without: frozenset[str] = frozenset()) -> Iterator[AffineScalarFunc]:
    """Yield the numbers in mappings, lists, arrays, functions and the package's own objects, once each.

    What an object keeps of work done is looked through too; attributes named in ``without`` are not.
    """
    stack, seen = [root], {}
    while stack:
        item = stack.pop()
        if isinstance(item, _PLAIN) or id(item) in seen:
            continue
        seen[id(item)] = item  # kept, so that no other object takes its id
        if isinstance(item, AffineScalarFunc):
            yield item
        else:
            stack += _inside(item, without)


def _inside(item: Any, without: frozenset[str]) -> list[Any]:
    if isinstance(item, np.ndarray):
        return item.ravel().tolist() if item.dtype == object else []
    found = list(item.values()) if isinstance(item, Mapping) else []
    found += list(item) if isinstance(item, list | tuple | set | frozenset) else []
    if type(item).__module__.startswith("aotf_lab"):
        found += (
            [value for name, value in vars(item).items() if name not in without] if hasattr(item, "__dict__") else []
        )
    cells = getattr(item, "__closure__", None) or ()
    return [*found, *(cell.cell_contents for cell in cells)]


def variables_of(root: Any, without: frozenset[str] = frozenset()) -> dict[str, set[Variable]]:
    """Return the variables of size above zero by their tag, "" for those without one."""
    found: dict[str, set[Variable]] = defaultdict(set)
    for number in numbers_of(root, without):
        for variable in number.derivatives:
            if variable.s > 0:
                found[variable.tag or ""].add(variable)
    return dict(found)
