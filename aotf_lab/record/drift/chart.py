"""Is a value still where it was? Control charts over the records.

Individuals and moving range: centre +- 3 mean(MR)/d2, and D4 mean(MR) for the moving range of two; EWMA: centre
+- 3 s sqrt(w / (2 - w) (1 - (1 - w)^(2k))) (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4). The
constants of the moving range of two normal values are exact: d2 = 2/sqrt(pi), d3 = sqrt(2 - 4/pi), D4 = 1 + 3 d3/d2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np

from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_number, given_numbers
from aotf_lab.record.drift.history import dates_of

__all__ = ["ControlChart", "control_chart"]

Kind = Literal["individuals", "ewma"]

_D2 = 2.0 / math.sqrt(math.pi)
_D3 = math.sqrt(2.0 - 4.0 / math.pi)
_D4 = 1.0 + 3.0 * _D3 / _D2
_SIGMAS = 3.0
_ENOUGH = 20
"""Fewer records than this give limits that are themselves uncertain by a sixth or more (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class ControlChart:
    """Values by date against their limits, made by ``control_chart``.

    ``values`` (n,) in ``unit`` with ``u`` (n,), zero where not stated; ``plotted`` (n,) is what is compared with
    ``lower`` and ``upper`` (n,): the value, or its weighted mean with those before. ``moving_range`` (n - 1,) has the
    limits ``range_limit`` (n - 1,). ``sigma`` comes from the first ``baseline`` records.
    """

    name: str
    unit: str
    kind: Kind
    dates: tuple[date, ...]
    values: FloatArray
    u: FloatArray
    plotted: FloatArray
    centre: float
    sigma: float
    lower: FloatArray
    upper: FloatArray
    moving_range: FloatArray
    range_limit: FloatArray
    baseline: int

    @property
    def beyond(self) -> tuple[date, ...]:
        """The dates on which the value was outside its limits."""
        outside = (self.plotted < self.lower) | (self.plotted > self.upper)
        return tuple(d for d, out in zip(self.dates, outside, strict=True) if out)

    @property
    def jumps(self) -> tuple[date, ...]:
        """The dates on which the value had moved since the record before by more than the limit of the range."""
        return tuple(d for d, out in zip(self.dates[1:], self.moving_range > self.range_limit, strict=True) if out)

    @property
    def steady(self) -> bool:
        """Whether nothing is outside its limits."""
        return not self.beyond and not self.jumps

    def plot(self, ax: Any = None) -> Any:
        """Draw the values by date with centre and limits; return the Axes."""
        from aotf_lab.drawing.record import plot_control_chart

        out = np.array([d in self.beyond for d in self.dates])
        label = f"{self.name} ({self.unit})" if self.unit else self.name
        averaged = self.plotted if self.kind == "ewma" else None
        return plot_control_chart(
            np.array(self.dates, dtype="datetime64[D]"), self.values, self.u, averaged, self.centre,
            (self.lower, self.upper), out, label, ax=ax,
        )  # fmt: skip

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with unit), one pair per line of ``str``."""
        unit = f" {self.unit}" if self.unit else ""
        limits = f"{self.lower[-1]:.5g} to {self.upper[-1]:.5g}{unit}"
        return (
            ("centre", f"{self.centre:.5g}{unit}"),
            ("scatter (k = 1)", f"{self.sigma:.2g}{unit}, from the first {self.baseline} records"),
            ("limits of the last", limits),
            ("outside the limits", ", ".join(map(str, self.beyond)) or "none"),
            ("jumps since the record before", ", ".join(map(str, self.jumps)) or "none"),
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What to bear in mind when reading it."""
        if self.baseline >= _ENOUGH:
            return ()
        return (f"limits from {self.baseline} records are rough: {_ENOUGH} or more make them firm",)

    def _title(self) -> str:
        kind = "individuals and moving range" if self.kind == "individuals" else "weighted mean (EWMA)"
        return f"Control chart of {self.name}: {len(self.dates)} records, {kind}"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.notes)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.notes)


def control_chart(
    dates: Sequence[date | str],
    values: Sequence[float] | FloatArray,
    *,
    u: Sequence[float] | FloatArray | None = None,
    kind: Kind = "individuals",
    baseline: int | None = None,
    centre: float | None = None,
    sigma: float | None = None,
    weight: float = 0.3,
    name: str = "value",
    unit: str = "",
) -> ControlChart:
    """Return the chart of ``values`` (n,) by ``dates`` (n,), in their order of time.

    ``u`` (n,) is the standard uncertainty of each value: where it exceeds the scatter it sets that value's limits. The
    first ``baseline`` records (all by default) give centre and scatter, unless ``centre`` and ``sigma`` are stated.
    "individuals" finds a jump at once; "ewma" with ``weight`` (0 to 1) finds a slow change earlier.

    Raises ``ReadingsError`` for lists that do not pair up or fewer than two records, ``AotfLabError`` for a weight,
    baseline, ``u`` or ``sigma`` out of bounds.

    >>> print(control_chart(["2031-01-07", "2031-02-03", "2031-03-05"], [4.0, 5.0, 3.0], unit="kHz").beyond)
    ()
    """
    days = dates_of(dates)
    y = np.array(given_numbers(values, "values"))
    spread = np.zeros_like(y) if u is None else np.array(given_numbers(u, "u"))
    centre, sigma = (
        None if number is None else given_number(number, name, unit)
        for name, number in (("centre", centre), ("sigma", sigma))
    )
    if kind not in ("individuals", "ewma"):
        raise AotfLabError("kind of chart", found=kind, allowed="individuals or ewma", cure="use one of these words")
    baseline = None if baseline is None else given_number(baseline, "baseline", "records", whole=True)
    weight = given_number(weight, "weight")
    _require(len(days), y, spread)
    order = np.argsort(np.array(days, dtype="datetime64[D]"), kind="stable")
    days, y, spread = tuple(days[k] for k in order), y[order], spread[order]
    first = len(y) if baseline is None else baseline
    if not 2 <= first <= len(y):
        raise AotfLabError("records of the baseline", found=first, allowed=f"2 to {len(y)}", cure="state fewer or more")
    if not 0 < weight <= 1:
        raise AotfLabError("weight of the newest value", found=weight, allowed="above 0, up to 1", cure="take 0.3")
    ranges = np.abs(np.diff(y))
    scatter = float(np.mean(ranges[: first - 1])) / _D2 if sigma is None else sigma
    if not (math.isfinite(scatter) and scatter >= 0):
        raise AotfLabError("scatter of the chart", found=scatter, allowed="zero or more", cure="state sigma")
    middle = float(np.mean(y[:first])) if centre is None else centre
    each = np.maximum(scatter, spread)
    plotted, half = (y, each) if kind == "individuals" else _ewma(y, each, middle, weight)
    return ControlChart(
        name, unit, kind, days, y, spread, plotted, middle, scatter, middle - _SIGMAS * half, middle + _SIGMAS * half,
        ranges, _D4 * _D2 * np.sqrt(0.5 * (each[1:] ** 2 + each[:-1] ** 2)), first,
    )  # fmt: skip


def _ewma(y: FloatArray, each: FloatArray, centre: float, weight: float) -> tuple[FloatArray, FloatArray]:
    """Return the weighted mean (n,) with those before, started at ``centre``, and its standard deviation (n,)."""
    mean, variance = centre, 0.0
    found = []
    for value, u in zip(y, each, strict=True):
        mean = weight * value + (1.0 - weight) * mean
        variance = (weight * u) ** 2 + (1.0 - weight) ** 2 * variance
        found.append((mean, math.sqrt(variance)))
    means, deviations = np.array(found).T
    return means, deviations


def _require(dates: int, y: FloatArray, u: FloatArray) -> None:
    if y.ndim != 1 or not dates == len(y) == len(u):
        raise ReadingsError(
            "dates and values do not pair up", found=Said(f"{dates} dates, {y.size} values, {u.size} u"),
            allowed="one of each for every record", cure="leave out what has no partner",
        )  # fmt: skip
    if len(y) < 2:
        raise ReadingsError("too few records for a chart", found=len(y), allowed="2 or more", cure="take another")
    for what, array, good in (("value", y, np.isfinite(y)), ("u of a value", u, np.isfinite(u) & (u >= 0))):
        if not np.all(good):
            bad = int(np.argmin(good))
            raise ReadingsError(
                f"{what} {bad + 1} of the chart", found=float(array[bad]), allowed="a finite number, u not below zero",
                cure="leave that record out",
            )  # fmt: skip
