"""Do repeated readings scatter as session.toml says that they do?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.reading.sanity.suspicion import lines_of
from aotf_lab.session.contradictions.contradiction import Contradiction, ReadFile

__all__ = ["against_scatter"]

_Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Kind:
    """Which column is repeated while which others stay, and the key that states its scatter.

    ``exact``: the others must read the same. On the flank of a passband a step too small for the counter shows.
    """

    column: str
    held: tuple[str, ...]
    key: str
    instrument: str
    exact: bool = False


_KINDS = (
    _Kind("frequency_mhz", ("drive_v",), "u_reading_khz", "counter"),
    _Kind("rf_power_w", ("supply_v", "frequency_mhz", "drive_v"), "u_reading_percent", "scope"),
    _Kind(
        "optical_power_mw", ("frequency_mhz", "drive_v", "rf_power_w"), "u_reading_percent", "power_meter", exact=True
    ),
)


def against_scatter(given: ReadFile) -> Iterator[Contradiction]:
    """Yield where readings in a row at one setting scatter more than stated, by chi-square.

    Rows are taken in pairs that follow each other, no row twice: each pair gives d^2 / (2 u^2), chi-square with
    one degree of freedom, and a slow drift cancels. Two rows are at one setting when every other column that
    sets the reading agrees within its own scatter, or altogether. RF power against which efficiency was measured is
    itself what was set, unless the supply that made it stands beside it.
    """
    read = _repeats_together(given)
    for kind in _KINDS:
        stated = getattr(getattr(read.facts.instruments, kind.instrument), kind.key)
        held = [c for c in kind.held if read.has(c)]
        if kind.column == "rf_power_w" and read.file.purpose == "efficiency" and "supply_v" not in held:
            continue
        if stated is None or not held or not read.has(kind.column, f"u_{kind.column}"):
            continue
        pairs = _pairs(read, held, kind.exact)
        if pairs.size:
            yield from _judged(read, kind, held, pairs, stated)


def _repeats_together(read: ReadFile) -> ReadFile:
    """Return the file with repeats that stood side by side in one line of it as rows that follow each other."""
    if not read.has("repeat", "line"):
        return read
    table = read.readings.table.sort_values("line", kind="stable").reset_index(drop=True)
    return replace(read, readings=replace(read.readings, table=table))


def _of(read: ReadFile, column: str) -> _Array:
    return np.asarray(read.readings.table[column].to_numpy(dtype=float))


def _u_of(read: ReadFile, column: str) -> _Array:
    """Return the scatter of a held column, zero where nothing is stated of it."""
    return np.nan_to_num(_of(read, f"u_{column}")) if read.has(f"u_{column}") else np.zeros(len(read.readings.table))


def _pairs(read: ReadFile, held: list[str], exact: bool) -> NDArray[np.intp]:
    """Return the first row of each pair of neighbours at one setting, no row in two pairs."""
    same = np.ones(len(read.readings.table) - 1, dtype=bool)
    for column in held:
        values, u = _of(read, column), _u_of(read, column)
        same &= np.abs(np.diff(values)) <= (0.0 if exact else 3.0) * np.hypot(u[1:], u[:-1])
    if read.has("direction"):
        words = read.readings.table["direction"].to_numpy()
        same &= words[1:] == words[:-1]
    firsts: list[int] = []
    for row in np.flatnonzero(same):
        if not firsts or row > firsts[-1] + 1:
            firsts.append(int(row))
    return np.array(firsts, dtype=np.intp)


def _slope(x: _Array, y: _Array, u_x: _Array) -> _Array:
    """Return dy/dx at each row, from the means of the settings on either side; 0 where there is one setting only."""
    order = np.argsort(x, kind="stable")
    gap = np.diff(x[order]) > 3.0 * np.hypot(u_x[order][1:], u_x[order][:-1])
    group = np.concatenate([[0], np.cumsum(gap)])
    size = np.bincount(group)
    if size.size < 2:
        return np.zeros(len(x))
    mean_x, mean_y = (np.bincount(group, weights=v[order]) / size for v in (x, y))
    slopes = np.empty(len(x))
    slopes[order] = np.gradient(mean_y, mean_x)[group]
    return slopes


def _judged(
    read: ReadFile, kind: _Kind, held: list[str], first: NDArray[np.intp], stated: float
) -> Iterator[Contradiction]:
    value, u = _of(read, kind.column), _of(read, f"u_{kind.column}")
    apart, own = value[first + 1] - value[first], u[first] ** 2 + u[first + 1] ** 2
    other = np.zeros(len(first))
    for column in held:
        x, u_x = _of(read, column), _u_of(read, column)
        if np.any(u_x > 0):
            other += _slope(x, value, u_x)[first] ** 2 * (u_x[first] ** 2 + u_x[first + 1] ** 2)
    good = np.isfinite(apart) & np.isfinite(other) & (own > 0)
    apart, own, other, first = apart[good], own[good], other[good], first[good]
    chi2, count = float(np.sum(apart**2 / (own + other))), len(first)
    if not count or chi2 <= chi2_limit(count):
        return
    seen = stated * float(np.sum(apart**2 - other) / np.sum(own)) ** 0.5
    unit = {"u_reading_khz": "kHz", "u_reading_percent": "%"}[kind.key]
    rows = sorted({*first.tolist(), *(first + 1).tolist()})
    yield Contradiction(
        f"repeated readings of {kind.column} scatter more than stated", lines_of(read.readings, rows),
        f"about {seen:.2g} {unit} in {count} {'pair' if count == 1 else 'pairs'} of rows at one setting "
        f"(chi2 = {chi2:.1f} on {count}, limit {chi2_limit(count):.1f})",
        f"[instrument.{kind.instrument}] {kind.key} = {stated:g}",
        "state what the repeats show, or look for what disturbed them",
    )  # fmt: skip
