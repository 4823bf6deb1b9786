"""Which readings make the run over the supply, and which the run over the band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from aotf_lab.driver.level.parts import separate_files
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.causes import CommonError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["LevelRows", "Run", "level_rows", "runs"]

FEWEST_SUPPLIES = 5
FEWEST_FREQUENCIES = 5
_SAME_MHZ = 0.25
_SAME_SUPPLY = 0.01
"""Readings nearer than this in frequency (MHz), or in supply (relative), are at one setting."""


@dataclass(frozen=True)
class LevelRows:
    """All readings (n,) pooled; ``part`` (n,) says of which table each is. ``u_power_w`` None where nobody knows it."""

    parts: tuple[Readings, ...]
    part: NDArray[np.intp]
    places: tuple[str, ...]
    supply_v: FloatArray
    frequency_mhz: FloatArray
    power_w: FloatArray
    u_power_w: FloatArray | None
    u_supply_v: FloatArray
    current_a: FloatArray


@dataclass(frozen=True)
class Run:
    """The rows of one run, at one supply or at one frequency: ``setting`` is their mean there."""

    rows: NDArray[np.intp]
    setting: float
    errors: tuple[tuple[CommonError, float], ...]
    """Shared errors of its power, each with the share of rows that have it."""

    def power_errors(self, power_w: float) -> list[tuple[CommonError, float]]:
        """Return the shared errors with the factor that makes each of them relative, at ``power_w``."""
        return [(e, share / power_w if e.kind == "offset" else share) for e, share in self.errors]


def level_rows(readings: Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]) -> LevelRows:
    """Return the pooled rows; raises ``ReadingsError`` for a missing column and for values that cannot be."""
    tables = [readings] if isinstance(readings, Readings | pd.DataFrame) else list(readings)
    parts = tuple(separate_files(tables))
    if not parts:
        raise ReadingsError(
            "no readings of level", found=0, allowed="one table or more", cure="measure power against supply and band"
        )
    for part in parts:
        part.require("supply_v", "frequency_mhz", "rf_power_w")
    places = tuple(place for part in parts for place in part.places)
    supply, frequency, power = (_joined(parts, c) for c in ("supply_v", "frequency_mhz", "rf_power_w"))
    for name, values in (("supply_v", supply), ("frequency_mhz", frequency), ("rf_power_w", power)):
        _refuse(values, places, name)
    u_power = _joined(parts, "u_rf_power_w")
    u_known = np.isfinite(u_power) & (u_power > 0)
    return LevelRows(
        parts,
        np.repeat(np.arange(len(parts)), [len(p.table) for p in parts]),
        places,
        supply,
        frequency,
        power,
        np.where(u_known, u_power, np.max(u_power, where=u_known, initial=0.0)) if u_known.any() else None,
        np.nan_to_num(_joined(parts, "u_supply_v")),
        _joined(parts, "supply_a"),
    )


def _joined(parts: tuple[Readings, ...], column: str) -> FloatArray:
    none = (np.full(len(p.table), np.nan) for p in parts)
    return np.concatenate(
        [
            p.table[column].to_numpy(dtype=float) if column in p.table.columns else nan
            for p, nan in zip(parts, none, strict=True)
        ]
    )


def _refuse(values: FloatArray, places: tuple[str, ...], name: str) -> None:
    bad = np.flatnonzero(~(np.isfinite(values) & (values > 0)))
    if bad.size:
        raise ReadingsError(
            f"{name} that cannot be fitted", where=places[int(bad[0])], found=float(values[bad[0]]),
            allowed="a number above zero", cure="correct the reading, or leave its row out",
        )  # fmt: skip


def runs(rows: LevelRows) -> tuple[Run, Run, NDArray[np.intp]]:
    """Return the run over the supply (at one frequency), that over the band (at one supply), and the rows in neither.

    A run holds rows of one way of reading: those that share the same errors. A row that would serve in both stays
    out of the run over the band, unless it ends that run.

    Raises ``ReadingsError`` when either has too few different settings.
    """
    ways = _ways(rows)
    at_frequency = _largest(_clusters(rows.frequency_mhz, _SAME_MHZ, 0.0), ways, rows.supply_v, 0.0, _SAME_SUPPLY)
    _refuse_few(rows.supply_v[at_frequency], "supplies at one frequency", FEWEST_SUPPLIES, _SAME_SUPPLY, 0.0)
    at_supply = _largest(_clusters(rows.supply_v, 0.0, _SAME_SUPPLY), ways, rows.frequency_mhz, _SAME_MHZ, 0.0)
    _refuse_few(rows.frequency_mhz[at_supply], "frequencies at one supply", FEWEST_FREQUENCIES, 0.0, _SAME_MHZ)
    at_supply = _without_both(rows, at_supply, at_frequency)
    over_supply = _run(rows, at_frequency, float(np.mean(rows.frequency_mhz[at_frequency])))
    over_band = _run(rows, at_supply, float(np.mean(rows.supply_v[at_supply])))
    neither = np.setdiff1d(np.arange(len(rows.part)), np.union1d(at_frequency, at_supply))
    return over_supply, over_band, neither


def _ways(rows: LevelRows) -> NDArray[np.intp]:
    """Return a number for the way in which each row (n,) was read: the same where all shared errors are the same."""
    signs = [frozenset((e.name, id(e.variable)) for e in p.common_errors("rf_power_w")) for p in rows.parts]
    known = list(dict.fromkeys(signs))
    return np.array([known.index(sign) for sign in signs], dtype=np.intp)[rows.part]


def _without_both(rows: LevelRows, at_supply: NDArray[np.intp], at_frequency: NDArray[np.intp]) -> NDArray[np.intp]:
    left = np.setdiff1d(at_supply, at_frequency)
    f, all_f = rows.frequency_mhz[left], rows.frequency_mhz[at_supply]
    enough = len(left) and int(_clusters(f, _SAME_MHZ, 0.0).max()) + 1 >= FEWEST_FREQUENCIES
    return left if enough and f.min() == all_f.min() and f.max() == all_f.max() else at_supply


def _clusters(values: FloatArray, apart: float, relative: float) -> NDArray[np.intp]:
    """Return the number of the setting of each value (n,): a wider gap to the next lower value starts a new one."""
    order = np.argsort(values, kind="stable")
    steps = np.diff(values[order]) > apart + relative * values[order][:-1]
    labels = np.empty(len(values), dtype=np.intp)
    labels[order] = np.concatenate([[0], np.cumsum(steps)])
    return labels


def _largest(
    labels: NDArray[np.intp], ways: NDArray[np.intp], other: FloatArray, apart: float, relative: float
) -> NDArray[np.intp]:
    """Return the rows of one setting, read in one way, at which ``other`` takes most different values."""
    settings = dict.fromkeys(zip(labels.tolist(), ways.tolist(), strict=True))
    groups = [np.flatnonzero((labels == k) & (ways == way)) for k, way in settings]
    counts = [int(_clusters(other[g], apart, relative).max()) + 1 for g in groups]
    return groups[int(np.argmax(counts))]


def _refuse_few(values: FloatArray, what: str, fewest: int, relative: float, apart: float) -> None:
    different = int(_clusters(values, apart, relative).max()) + 1
    if different < fewest:
        raise ReadingsError(
            f"too few different {what}", found=Said(f"{different}"), allowed=f"at least {fewest}",
            cure="measure power against supply at one frequency, and against frequency at one supply",
        )  # fmt: skip


def _run(rows: LevelRows, chosen: NDArray[np.intp], setting: float) -> Run:
    errors: dict[tuple[str, int], tuple[CommonError, float]] = {}
    for k in np.unique(rows.part[chosen]):
        share = float(np.mean(rows.part[chosen] == k))
        for error in rows.parts[int(k)].common_errors("rf_power_w"):
            key = (error.name, id(error.variable))
            errors[key] = (error, share + (errors[key][1] if key in errors else 0.0))
    return Run(chosen, setting, tuple(errors.values()))
