"""The order that costs least, by exact search (dynamic programming over subsets).

Held & Karp, J. Soc. Indust. Appl. Math. 10, 196 (1962): the cheapest way through a set of places that ends at one of
them is the cheapest through the set without it, plus one move. From memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError, Said

__all__ = ["MOST_STEPS", "least_order", "require_few"]

MOST_STEPS = 12
"""The search takes n^2 2^n steps: 12 take a moment, more are refused."""


def least_order(cost: NDArray[np.float64], *, cyclic: bool = True) -> tuple[tuple[int, ...], float]:
    """Return the order of n places whose moves cost least in total, and that total.

    ``cost`` (n, n) is the cost of going from row to column; infinite forbids it. A ``cyclic`` order starts with the
    first place and goes back to it; else it may start anywhere and ends where it ends. Raises ``AotfLabError`` for more
    than twelve places, or when every order is forbidden.

    >>> order, total = least_order(np.array([[0.0, 1.0, 9.0], [9.0, 0.0, 1.0], [1.0, 9.0, 0.0]]))
    >>> order, float(total)
    ((0, 1, 2), 3.0)
    """
    table = np.asarray(cost, dtype=float)
    n = len(table)
    require_few(n)
    if not cyclic:
        wide = np.zeros((n + 1, n + 1))
        wide[1:, 1:] = table
        order, total = _tour(wide)
        return tuple(i - 1 for i in order[1:]), total
    return _tour(table)


def require_few(n: int) -> None:
    """Raise ``AotfLabError`` for more places than the search can order."""
    if n > MOST_STEPS:
        raise AotfLabError(
            "too many steps for an exact search", found=n, allowed=f"at most {MOST_STEPS}",
            cure='give the order yourself, with order="given"',
        )  # fmt: skip


def _tour(cost: NDArray[np.float64]) -> tuple[tuple[int, ...], float]:
    """Return the cheapest round trip from place 0 through all, and its cost."""
    n = len(cost)
    full = 1 << n
    best = np.full((full, n), np.inf)
    came = np.zeros((full, n), dtype=int)
    best[1, 0] = 0.0
    for visited in range(1, full, 2):
        for here in map(int, np.flatnonzero(np.isfinite(best[visited]))):
            for there in range(1, n):
                if visited >> there & 1:
                    continue
                total = best[visited, here] + cost[here, there]
                after = visited | 1 << there
                if total < best[after, there]:
                    best[after, there], came[after, there] = total, here
    ends = best[full - 1] + (cost[:, 0] if n > 1 else 0.0)
    last = int(np.argmin(ends[1:]) + 1) if n > 1 else 0
    if not np.isfinite(ends[last]):
        raise AotfLabError(
            "no order is possible", found=Said("each one holds a move that is forbidden"),
            allowed="one order without", cure="put another step between equal ones",
        )  # fmt: skip
    order, visited = [last], full - 1
    while order[-1] != 0:
        here = order[-1]
        previous = int(came[visited, here])
        visited ^= 1 << here
        order.append(previous)
    return tuple(order[::-1]), float(ends[last])
