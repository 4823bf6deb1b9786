"""Today's readings against the stored numbers: mean and covariance of what a state of the bench would show.

All that is known with a standard uncertainty is moved by +- that uncertainty, along independent directions: the stored
numbers (with the correlation they have among themselves and with today's readings: a common time base cancels) and the
healthy wander of every link. First differences give the covariance, second differences what a curved law adds to mean
and covariance (GUM 5.1.2, note): near the top of the passband and of sin^2 the first ones vanish. Standard
uncertainties stay within 3 % of those of a million draws up to a wander of 0.07 of the passband, 5 % at 0.1.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

import numpy as np
from uncertainties import UFloat, nominal_value, std_dev

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.fault_tree.chain import READINGS, Chain, StoredDay
from aotf_lab.record.fault_tree.known import causes

__all__ = ["Evidence", "Moments", "evidence_of"]

_SMALL = 1e-9
"""A share of a standard uncertainty that counts as rounding."""
_FARTHEST = 4.0
"""How many of its standard uncertainties an unknown is moved at the most."""


@dataclass(frozen=True, eq=False)
class Moments:
    """What g states of the bench would show: ``mean`` (g, n) and ``covariance`` (g, n, n), today's noise included.

    ``first`` (g, k, n) is what one standard uncertainty of each of k unknowns does, ``shared`` (k, n) its covariance
    with today's readings.
    """

    mean: FloatArray
    covariance: FloatArray
    first: FloatArray
    shared: FloatArray


@dataclass(frozen=True, eq=False)
class _Steps:
    """Rows of the bench: as it is, with each part moved up, with each moved down."""

    rows: int
    then: StoredDay
    state: Mapping[str, FloatArray]
    shared: FloatArray


@dataclass(frozen=True, eq=False)
class Evidence:
    """n readings of today and m stored numbers with their joint covariance.

    ``values`` (n,), ``noise`` (n, n) its covariance; ``stored`` name -> value; ``directions`` (m, k) the stored
    numbers' independent parts of one standard uncertainty each, ``shared`` (n, k) the covariance of today's readings
    with those parts; ``wander`` change -> standard deviation; ``given`` change -> size, where it was read itself.
    """

    names: tuple[str, ...]
    values: FloatArray
    noise: FloatArray
    stored: Mapping[str, float]
    directions: FloatArray
    shared: FloatArray
    wander: Mapping[str, float]
    given: Mapping[str, float] = field(default_factory=dict)

    def moments(self, change: str, sizes: FloatArray) -> Moments:
        """Return what is to be read where ``change`` has each of ``sizes`` (g,), all other changes at their wander."""
        return self._moments(self._steps, change, sizes, None, None)

    def settled(self, change: str, size: float) -> Moments:
        """Return the same for one size, expanded where today's readings put all that is unknown.

        One step of an iterated Kalman update (Bell & Cathey, IEEE Trans. Automat. Contr. 38, 294 (1993), from memory):
        a frequency that is known to be off says how far down the passband the light is.
        """
        rough = self.moments(change, np.array([size]))
        pull = rough.first[0] - rough.shared
        gain = np.linalg.solve(rough.covariance[0], pull.T).T
        centre = np.clip(gain @ (self.values - rough.mean[0]), -_FARTHEST, _FARTHEST)
        left = np.clip(1.0 - np.sum(gain * pull, axis=1), 0.0, 1.0)
        return self._moments(self._stepped(centre), change, np.array([size]), centre, left)

    def _moments(
        self, steps: _Steps, change: str, sizes: FloatArray, centre: FloatArray | None, left: FloatArray | None
    ) -> Moments:
        state = dict(steps.state)
        if change:
            state[change] = np.asarray(sizes, dtype=float)[:, None]
        chain = Chain(steps.then, state)
        seen = np.empty((len(sizes), steps.rows, len(self.names)))
        for k, name in enumerate(self.names):
            seen[:, :, k] = READINGS[name][1](chain)
        return self._from_differences(seen, steps.shared, centre, left)

    @cached_property
    def _steps(self) -> _Steps:
        return self._stepped(None)

    def _stepped(self, centre: FloatArray | None) -> _Steps:
        numbers, changes = _needed(self.names, tuple(self.stored))
        wander = {name: u for name, u in self.wander.items() if name in changes}
        needed = np.array([name in numbers for name in self.stored], dtype=bool)
        felt = np.any(self.directions[needed] != 0.0, axis=0)
        directions, shared = self.directions[:, felt], self.shared[:, felt]
        parts, both = directions.shape[1], directions.shape[1] + len(wander)
        stored, state = np.zeros((1 + 2 * both, len(self.stored))), np.zeros((1 + 2 * both, len(wander)))
        stored[1 : 1 + parts], stored[1 + both : 1 + both + parts] = directions.T, -directions.T
        for k, u in enumerate(wander.values()):
            state[1 + parts + k, k], state[1 + both + parts + k, k] = u, -u
        if centre is not None:
            stored += directions @ centre[:parts]
            state += centre[parts:] * np.array(list(wander.values()))
        then = {n: v + stored[None, :, i] for i, (n, v) in enumerate(self.stored.items()) if n in numbers}
        moved = {n: state[None, :, k] + self.given.get(n, 0.0) for k, n in enumerate(wander)}
        return _Steps(1 + 2 * both, StoredDay(then), moved, shared)

    def _from_differences(
        self, seen: FloatArray, shared: FloatArray, centre: FloatArray | None, left: FloatArray | None
    ) -> Moments:
        steps, parts = (seen.shape[1] - 1) // 2, shared.shape[1]
        middle, up, down = seen[:, 0], seen[:, 1 : 1 + steps], seen[:, 1 + steps :]
        first, second = 0.5 * (up - down), up + down - 2.0 * middle[:, None]
        if centre is not None and left is not None:
            middle = middle - centre @ first
            second = second * left[:, None]
        mean = middle + 0.5 * second.sum(axis=1)
        spread = first.transpose(0, 2, 1) @ first + 0.5 * second.transpose(0, 2, 1) @ second
        common = shared @ first[:, :parts]
        covariance = self.noise + spread - common - common.transpose(0, 2, 1)
        return Moments(mean, covariance, first, np.vstack([shared.T, np.zeros((steps - parts, len(self.names)))]))

    def with_reading(self, name: str, value: float, u: float) -> Evidence:
        """Return the evidence with one more reading of today, independent of all others."""
        n = len(self.names)
        noise = np.zeros((n + 1, n + 1))
        noise[:n, :n], noise[n, n] = self.noise, u**2
        shared = np.vstack([self.shared, np.zeros((1, self.shared.shape[1]))])
        return replace(
            self, names=(*self.names, name), values=np.append(self.values, value), noise=noise, shared=shared
        )


class _Noted(Mapping[str, FloatArray]):
    """A mapping of ones that notes which of its names were asked for."""

    def __init__(self, names: Sequence[str]) -> None:
        self.names, self.asked = names, set[str]()

    def __getitem__(self, name: str) -> FloatArray:
        if name not in self.names:
            raise KeyError(name)
        self.asked.add(name)
        return np.ones(1)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __len__(self) -> int:
        return len(self.names)


@lru_cache(maxsize=4096)
def _needed(names: tuple[str, ...], stored: tuple[str, ...]) -> tuple[frozenset[str], frozenset[str]]:
    """Return which stored numbers and which changes the readings ``names`` depend on at all."""
    numbers, changes = _Noted(stored), _Noted([b for c in causes().values() for b in c.branches])
    chain = Chain(StoredDay(numbers), changes)
    for name in names:
        READINGS[name][1](chain)
    return frozenset(numbers.asked), frozenset(changes.asked)


def evidence_of(
    today: Mapping[str, UFloat],
    stored: Mapping[str, UFloat | float],
    wander: Mapping[str, float],
    given: Mapping[str, UFloat] | None = None,
) -> Evidence:
    """Return the evidence of today's readings (name -> number with u) against the stored numbers.

    ``given`` are changes that were read themselves: they take the place of their wander.
    """
    sizes_given = {name: float(v.n) for name, v in (given or {}).items()}
    wander = dict(wander) | {name: float(v.s) for name, v in (given or {}).items()}
    names, kept = tuple(today), tuple(stored)
    whole = _covariance([*today.values(), *stored.values()])
    n = len(names)
    scale = np.array([float(std_dev(v)) or 1.0 for v in stored.values()])
    kinds = whole[n:, n:] / np.outer(scale, scale)
    sizes, turned = np.linalg.eigh(kinds) if len(kept) else (np.zeros(0), np.zeros((0, 0)))
    good, turned = sizes > _SMALL, np.where(np.abs(turned) > _SMALL, turned, 0.0)
    length = np.sqrt(sizes[good])
    directions = scale[:, None] * turned[:, good] * length
    shared = (whole[:n, n:] / scale) @ turned[:, good] / length
    values = np.array([float(nominal_value(v)) for v in today.values()])
    plain = {name: float(nominal_value(v)) for name, v in stored.items()}
    return Evidence(names, values, whole[:n, :n], plain, directions, shared, wander, sizes_given)


def _covariance(values: Sequence[UFloat | float]) -> FloatArray:
    """Return the covariance of numbers some of which may be exact."""
    variables: dict[object, int] = {}
    parts = [
        {variables.setdefault(v, len(variables)): d * v.std_dev for v, d in getattr(value, "derivatives", {}).items()}
        for value in values
    ]
    moved = np.zeros((len(values), len(variables)))
    for row, part in zip(moved, parts, strict=True):
        for column, amount in part.items():
            row[column] = amount
    return moved @ moved.T
