"""Readings between which something was changed and set back: what it does, with drift and wander allowed for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.driver.stability.log import Log, log_of
from aotf_lab.driver.stability.walk import WalkFit, walk_fit
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.checks import Check, chi2_check
from aotf_lab.estimation.describe import scatter_variables
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.readings import Readings

__all__ = ["FEWEST", "Stepped", "fit_stepped", "returns", "rows_in_order"]

FEWEST = 6
_TIME_LIKE = 0.99
"""Correlation with a straight run of time from which a change cannot be told from a drift."""


@dataclass(frozen=True)
class Stepped:
    """The effects (k,) of ``columns`` in the unit of frequency (MHz) over theirs, and the fit they come from.

    ``drift_mhz_per_h`` is the straight drift (of no meaning where the order stood for the time), ``left_mhz`` (n,) what
    the readings are without the effects: level, drift, wander and noise.
    """

    effects: tuple[UFloat, ...]
    drift_mhz_per_h: float
    fit: Fit
    left_mhz: FloatArray


def rows_in_order(readings: Readings, what: str) -> Log:
    """Return the rows; their order stands for the time where none was logged. Raises as ``log_of``."""
    if "time_s" not in readings.table.columns:
        table = readings.table.assign(time_s=np.arange(len(readings.table), dtype=float))
        readings = Readings(table, readings.common, readings.receipts, readings.sources)
    return log_of(readings, FEWEST, what, steady=False)


def returns(value: FloatArray | list[str], at: object) -> int:
    """Return how often a run came back to ``at`` after something else.

    >>> returns(["a", "b", "a", "a", "c", "a"], "a")
    2
    """
    here = np.array([v == at for v in value])
    return int(np.sum(here[1:] & ~here[:-1]) - (0 if here.any() and here[0] else 1)) if here.any() else 0


def fit_stepped(log: Log, columns: FloatArray, names: list[str], scatter: str) -> Stepped:
    """Fit ``columns`` (n, k), a level, a straight drift, white noise and a random walk to the log.

    Where every change is undone soon after, drift and wander cancel as in differences from the mean of the
    neighbouring references (A-B-A), of which this is the weighted form. Raises ``ReadingsError`` for too few rows and
    for changes that run with the time.
    """
    n, k = columns.shape
    if n < k + 4:
        raise ReadingsError(
            f"too few readings for {scatter}", where=log.place(0), found=n, allowed=f"at least {k + 4}",
            cure="repeat the changes",
        )  # fmt: skip
    time_h = (log.time_s - log.time_s[-1]) / 3600.0
    _require_told_from_drift(log, columns, time_h, names, scatter)
    design = np.concatenate([np.ones((n, 1)), time_h[:, None] / np.ptp(time_h), columns], axis=1)
    found = walk_fit(log.time_s, log.frequency_mhz - log.frequency_mhz[-1], design)
    stated = log.u_frequency_mhz
    scale = max(1.0, stated / found.jitter) if np.isfinite(stated) else 1.0
    covariance = found.covariance[2:, 2:] * scale**2
    numbers = [float(v) + z for v, z in zip(found.values[2:], scatter_variables(covariance, scatter), strict=True)]
    fit = Fit(
        dict(zip(names, numbers, strict=True)), found.values[2:], covariance,
        found.dof * ((found.jitter / stated) ** 2 if np.isfinite(stated) else 1.0), found.dof, 1.0, False,
        found.best.residual / found.best.variance**0.5, found.best.leverage, (_scatter(found, stated, n, scatter),),
        found.jitter,
    )  # fmt: skip
    left = log.frequency_mhz - columns @ found.values[2:]
    return Stepped(tuple(numbers), float(found.values[1] / np.ptp(time_h)), fit, left)


def _require_told_from_drift(log: Log, columns: FloatArray, time_h: FloatArray, names: list[str], scatter: str) -> None:
    for name, column in zip(names, columns.T, strict=True):
        correlation = float(np.corrcoef(column, time_h)[0, 1]) if np.ptp(column) > 0 else 1.0
        if abs(correlation) > _TIME_LIKE:
            raise ReadingsError(
                f"{scatter}: nothing tells {name} from a drift", where=f"{log.place(0)} to {log.place(len(log) - 1)}",
                found=Said(f"a change that runs with the time, correlation {correlation:.3f}"),
                allowed=f"a correlation within {_TIME_LIKE:g}", cure="set the reference again in between, and last",
            )  # fmt: skip


def _scatter(found: WalkFit, stated: float, n: int, scatter: str) -> Check:
    if np.isfinite(stated):
        dof = n - len(found.values)
        return chi2_check(
            dof * (found.jitter / stated) ** 2, dof, f"{scatter.removeprefix('scatter of ')}, their wander apart"
        )
    detail = f"no u of the counts was stated: {1e3 * found.jitter:.3g} kHz a reading was estimated; state the counter's"
    return Check("stated uncertainty", False, detail)
