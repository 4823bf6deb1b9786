"""Closed curves on the sphere of directions along which a function of the direction is zero.

The sphere is covered with triangles (an octahedron's faces, divided). Where the function changes sign along an edge,
the zero is found on that edge; a triangle has two such edges or none, and every edge belongs to two triangles, so
the curves close of themselves, whatever their number and shape, without a pole or a saddle to decide about.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from aotf_lab.physics.domain import Values, as_values

__all__ = ["sphere_vertices", "zero_curves"]

DIVISIONS = 160
"""Parts of each octahedron's edge: triangles of about half a degree."""

_STEPS = 60
Whole = NDArray[np.int64]


@lru_cache(maxsize=4)
def _sphere(divisions: int) -> tuple[Values, Whole]:
    """Return vertices (n, 3) on the unit sphere and triangles (t, 3) of vertex numbers."""
    i, j = (a.ravel() for a in np.mgrid[:divisions, :divisions])
    inside, pointed = i + j < divisions, i + j < divisions - 1
    upright = np.stack([[i, j], [i + 1, j], [i, j + 1]])[..., inside]
    hanging = np.stack([[i + 1, j], [i + 1, j + 1], [i, j + 1]])[..., pointed]
    corners = np.moveaxis(np.concatenate([upright, hanging], axis=-1), -1, 0)
    face = np.concatenate([corners, divisions - corners.sum(axis=-1, keepdims=True)], axis=-1)
    signs = 1 - 2 * np.stack([a.ravel() for a in np.mgrid[:2, :2, :2]], axis=-1)
    points = (signs[:, None, None] * face).reshape(-1, 3)
    key = (points + divisions) @ np.array([(2 * divisions + 1) ** 2, 2 * divisions + 1, 1])
    _, first, triangles = np.unique(key, return_index=True, return_inverse=True)
    grid = points[first]
    return as_values(grid / np.linalg.norm(grid, axis=1, keepdims=True)), triangles.reshape(-1, 3)


def sphere_vertices(divisions: int = DIVISIONS) -> Values:
    """Return the directions (n, 3) at which ``zero_curves`` wants the function."""
    return _sphere(divisions)[0]


def zero_curves(
    function: Callable[[Values], Values], at_vertices: Values | None = None, divisions: int = DIVISIONS
) -> list[Values]:
    """Return the closed curves, each (n, 3) of unit vectors without repeating the first, where ``function`` is zero.

    ``function`` takes unit vectors (n, 3) and returns (n,), continuous; ``at_vertices`` are its values at
    ``sphere_vertices`` where they are known already. Curves smaller than a triangle may be missed. Longest first.

    >>> circle, = zero_curves(lambda m: m[:, 2] - 0.5)
    >>> float(abs(circle[:, 2] - 0.5).max()) < 1e-12
    True
    """
    vertices, triangles = _sphere(divisions)
    above = (function(vertices) if at_vertices is None else at_vertices) > 0
    first, *others = above[triangles.T]
    mixed = triangles[(first != others[0]) | (first != others[1])]
    if len(mixed) == 0:
        return []
    sides = np.sort(np.stack([mixed[:, [0, 1]], mixed[:, [1, 2]], mixed[:, [2, 0]]], axis=1), axis=2)
    cut = above[sides[..., 0]] != above[sides[..., 1]]
    pairs = sides[cut].reshape(-1, 2, 2)
    edges, where = np.unique(pairs.reshape(-1, 2), axis=0, return_inverse=True)
    points = _zeros(function, vertices[edges[:, 0]], vertices[edges[:, 1]])
    curves = [points[chain] for chain in _chains(where.reshape(-1, 2), len(edges))]
    return sorted(curves, key=len, reverse=True)


def _zeros(function: Callable[[Values], Values], start: Values, end: Values) -> Values:
    """Return the zero between each start and end (n, 3), by false position with Illinois' halving."""

    def at(share: Values) -> Values:
        way = start + share[:, None] * (end - start)
        return as_values(way / np.linalg.norm(way, axis=1, keepdims=True))

    low, high = np.zeros(len(start)), np.ones(len(start))
    f_low, f_high = function(start), function(end)
    for _ in range(_STEPS):
        share = (low * f_high - high * f_low) / np.where(f_high == f_low, 1.0, f_high - f_low)
        value = function(at(share))
        crossed = np.sign(value) != np.sign(f_high)
        f_low = np.where(crossed, f_high, 0.5 * f_low)
        low = np.where(crossed, high, low)
        high, f_high = share, value
        if np.max(np.abs(value)) < 1e-13 or np.max(np.abs(high - low)) < 1e-13:
            break
    return at(high)


def _chains(pairs: Whole, count: int) -> list[list[int]]:
    """Return the closed chains of numbers below ``count`` of which each pair says two neighbours."""
    neighbours: list[list[int]] = [[] for _ in range(count)]
    for one, other in pairs.tolist():
        neighbours[one].append(other)
        neighbours[other].append(one)
    chains, seen = [], [False] * count
    for first in range(count):
        chain, now = [], first
        while not seen[now]:
            seen[now] = True
            chain.append(now)
            now = next((n for n in neighbours[now] if not seen[n]), now)
        if chain:
            chains.append(chain)
    return chains
