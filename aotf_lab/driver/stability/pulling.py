"""Pulling: how the load behind the oscillator moves its frequency."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.driver.stability.log import Log
from aotf_lab.driver.stability.stepped import fit_stepped, returns, rows_in_order
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.checks import Check
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["Pulling", "fit_pulling"]

SCATTER = "scatter of the pulling readings"
_RETURNS = 1


@dataclass(frozen=True)
class Pulling:
    """``shift_mhz`` maps each other load to its frequency less that with the ``reference`` load (MHz), correlated."""

    log: Log = field(repr=False)
    fit: Fit = field(repr=False)
    reference: str
    shift_mhz: Mapping[str, UFloat]

    @property
    def largest(self) -> str:
        """The load that moves the frequency most."""
        return max(self.shift_mhz, key=lambda load: abs(self.shift_mhz[load].n))

    def plot(self, ax: Any = None) -> Any:
        """Draw the shift of each load with its 95 % interval, on ``ax`` or on a new figure; return the Axes."""
        from aotf_lab.drawing.effects import plot_pulling

        shifts = self.shift_mhz.values()
        half = self.fit.coverage_factor() * np.array([s.s for s in shifts])
        return plot_pulling(list(self.shift_mhz), np.array([s.n for s in shifts]), half, self.reference, ax=ax)

    def __str__(self) -> str:
        lines = [f"Pulling, {len(self.log)} readings, against the load {self.reference!r}"]
        lines += [f"{load}: {1e3 * shift:+.2uS} kHz" for load, shift in self.shift_mhz.items()]
        return text_lines([*lines, *map(str, self.fit.failed)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def fit_pulling(readings: Readings | pd.DataFrame, *, reference: str | None = None) -> Pulling:
    """Return how the load moves the frequency, at one drive.

    Columns: ``load`` (or ``label``), a word for each row such as matched, crystal, open; ``frequency_mhz``; optional
    ``time_s`` (else the order counts), ``u_frequency_mhz``, ``drive_v``. ``reference`` is the load that the shifts
    count from; None takes "matched", or else the load that was connected most often. It belongs between the others, so
    that drift and wander cancel. Raises ``ReadingsError`` for fewer than two loads, a row without one, a reference that
    is not among them, loads that run with the time, and for what ``log_of`` refuses.
    """
    wrapped = as_readings(readings)
    column = "load" if "load" in wrapped.table.columns else "label"
    if column not in wrapped.table.columns:
        wrapped.require("load")
    log = rows_in_order(wrapped, "the pulling")
    loads = [str(w).strip().lower() for w in wrapped.table[column].iloc[log.row]]
    for k, load in enumerate(loads):
        if load in ("", "nan", "none"):
            raise ReadingsError(
                "a row without its load", where=f"{log.place(k)}, column {column!r}", found=load,
                allowed="a word such as matched, crystal, open", cure="write down what was connected",
            )  # fmt: skip
    names = list(dict.fromkeys(loads))
    usual = "matched" if "matched" in names else max(names, key=loads.count)
    wanted = usual if reference is None else reference.strip().lower()
    if len(names) < 2 or wanted not in names:
        raise ReadingsError(
            "loads that tell no pulling", where=log.place(0), found=Said(", ".join(names)),
            allowed=f"two loads or more, {wanted!r} among them", cure="connect another load, and the first one again",
        )  # fmt: skip
    others = [name for name in names if name != wanted]
    columns = np.array([[float(load == name) for name in others] for load in loads])
    stepped = fit_stepped(log, columns, others, SCATTER)
    found = returns(loads, wanted)
    detail = f"the load {wanted!r} was connected again {found} times, limit {_RETURNS}"
    cure = "a drift between the loads looks like pulling; connect it again between the others, and last"
    check = Check("reference load", found >= _RETURNS, detail if found >= _RETURNS else f"{detail}; {cure}")
    shifts = dict(zip(others, stepped.effects, strict=True))
    return Pulling(log, stepped.fit.with_checks(check), wanted, shifts)
