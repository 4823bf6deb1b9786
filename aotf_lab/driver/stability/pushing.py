"""Pushing: how the oscillator's own supply moves its frequency."""

from __future__ import annotations

from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.driver.stability.log import Log, column_of
from aotf_lab.driver.stability.stepped import Stepped, fit_stepped, returns, rows_in_order
from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.checks import Check, z_check
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["Pushing", "fit_pushing"]

SCATTER = "scatter of the pushing readings"
_ONE_V = 0.02
"""Settings nearer than this are one supply voltage."""
_RETURNS = 2


@dataclass(frozen=True)
class Pushing:
    """The slope df/dVs (MHz/V) about ``reference_v``, made by ``fit_pushing``."""

    log: Log = field(repr=False)
    fit: Fit = field(repr=False)
    mhz_per_v: UFloat
    reference_v: float
    supply_v: FloatArray = field(repr=False)
    left_mhz: FloatArray = field(repr=False)

    @property
    def range_v(self) -> tuple[float, float]:
        """The lowest and highest supply voltage that was set (V)."""
        return float(self.supply_v.min()), float(self.supply_v.max())

    def shift_mhz(self, change_v: float) -> UFloat:
        """Return by how much the frequency moves (MHz) when the supply changes by ``change_v`` (V)."""
        return change_v * self.mhz_per_v

    def plot(self, ax: Any = None) -> Any:
        """Draw the shifts, drift and wander apart, against the supply, with the slope; return the Axes."""
        from aotf_lab.drawing.stability import plot_steps

        x = self.supply_v - self.reference_v
        grid = np.linspace(x.min(), x.max(), 50)
        half = self.fit.coverage_factor() * self.mhz_per_v.s * np.abs(grid)
        centre = self.mhz_per_v.n * grid
        shift = self.mhz_per_v.n * x + _rest(self.log.time_s, self.left_mhz)
        return plot_steps(self.supply_v, shift, grid + self.reference_v, centre, (centre - half, centre + half), ax=ax)

    def __str__(self) -> str:
        low, high = self.range_v
        head = f"Pushing, {len(self.log)} readings from {low:.4g} to {high:.4g} V about {self.reference_v:.4g} V"
        return text_lines([head, f"df/dVs = {1e3 * self.mhz_per_v:.2uS} kHz/V", *map(str, self.fit.failed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def fit_pushing(readings: Readings | pd.DataFrame) -> Pushing:
    """Return how the oscillator's supply moves its frequency, at one drive.

    Columns: ``supply_v`` (of the oscillator), ``frequency_mhz``; optional ``time_s`` (else the order counts),
    ``u_frequency_mhz``, ``drive_v``. The supply that was set most often is the reference: it belongs between the
    others, so that drift and wander cancel. Raises ``ReadingsError`` for a supply that was not changed or runs with the
    time, and for what ``log_of`` refuses.
    """
    wrapped = as_readings(readings)
    wrapped.require("supply_v", "frequency_mhz")
    log = rows_in_order(wrapped, "the pushing")
    supply = column_of(wrapped, "supply_v")[log.row]
    bad = np.flatnonzero(~np.isfinite(supply))
    if len(bad) or np.ptp(supply) < 2 * _ONE_V:
        raise ReadingsError(
            "supply voltages that tell no pushing", where=log.place(int(bad[0]) if len(bad) else 0),
            found=float(supply[bad[0]]) if len(bad) else float(np.ptp(supply)),
            allowed=f"a voltage in every row, changed by {2 * _ONE_V:g} V or more", cure="step the supply up and down",
        )  # fmt: skip
    rounded = np.round(supply / _ONE_V)
    values, counts = np.unique(rounded, return_counts=True)
    at = values[int(np.argmax(counts))]
    reference = float(np.mean(supply[rounded == at]))
    x = supply - reference
    stepped = fit_stepped(log, x[:, None], ["pushing (MHz/V)"], SCATTER)
    checks = (_returns(returns(rounded, at), reference), _straight(log, x, stepped))
    return Pushing(log, stepped.fit.with_checks(*checks), stepped.effects[0], reference, supply, stepped.left_mhz)


def _returns(found: int, reference_v: float) -> Check:
    detail = f"{reference_v:.4g} V was set again {found} times, limit {_RETURNS}"
    cure = "only the straight part of a drift is told from the pushing; set the reference again between the others"
    return Check("reference supply", found >= _RETURNS, detail if found >= _RETURNS else f"{detail}; {cure}")


def _straight(log: Log, x: FloatArray, stepped: Stepped) -> Check:
    """Return the check that the frequency is a straight line over the supply."""
    if len(np.unique(np.round(x / _ONE_V))) < 3 or len(x) < 6:
        return Check("straight pushing", True, "cannot be checked: three supply voltages are needed")
    try:
        bent = fit_stepped(log, np.stack([x, x**2], axis=1), ["slope", "bend"], SCATTER).effects[1]
    except ReadingsError:
        return Check("straight pushing", True, "cannot be checked: too few readings")
    over = float(np.max(np.abs(x))) ** 2
    cure = "the slope is that of the whole range; use it near the reference only"
    return z_check("straight pushing", 1e3 * bent.n * over, 1e3 * bent.s * over, "the bend at the far end", "kHz", cure)


def _rest(time_s: FloatArray, left: FloatArray) -> FloatArray:
    """Return what is left (n,) over a straight drift."""
    t = (time_s - time_s.mean()) / np.ptp(time_s)
    return np.asarray(left - left.mean() - t * (t @ left) / (t @ t))
