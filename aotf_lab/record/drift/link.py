"""What moves one link: temperature and days, told apart, with the scatter between records."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import Check
from aotf_lab.estimation.describe import scatter_variables
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.drift.between import Known, fit_scattered
from aotf_lab.record.drift.chart import ControlChart, Kind, control_chart
from aotf_lab.record.drift.checks import drift_checks
from aotf_lab.record.drift.history import History
from aotf_lab.record.drift.scattered import Scattered

__all__ = ["LinkDrift", "fit_link_drift"]

_TOLD = 4
"""Degrees of freedom from which it is said how much of the scatter is wander (common practice, no source)."""


@dataclass(frozen=True, eq=False)
class LinkDrift:
    """How one link moves from record to record, made by ``fit_link_drift``.

    ``terms`` names the terms fitted: "offset" (what the trend is at the last record, less that record), "per_k",
    "per_day"; they and ``scatter`` are in MHz for the oscillator, relative for the crystal. ``u`` in a number is half
    of its 68.3 % interval, wider than a normal one where the records are few: ask ``interval`` for 95 %. ``unknown``
    says what could not be told, and what would tell it. ``known_per_k`` is a coefficient measured within one day.
    """

    history: History
    terms: tuple[str, ...]
    found: Scattered = field(repr=False)
    columns: FloatArray = field(repr=False)
    known_per_k: tuple[float, float] | None
    u_temperature_k: float
    unknown: tuple[str, ...]
    checks: tuple[Check, ...]

    @cached_property
    def numbers(self) -> dict[str, UFloat]:
        """Each term by name, correlated."""
        p = len(self.terms)
        u = np.array([self.found.u_of(np.eye(p)[k]) for k in range(p)])
        inner = self.found.covariance[self.found.likeliest]
        sizes = np.sqrt(np.diag(inner))
        noise = scatter_variables(
            inner * np.outer(u / sizes, u / sizes), f"scatter of the {self.history.link}'s records"
        )
        return {name: float(v) + z for name, v, z in zip(self.terms, self.found.mean, noise, strict=True)}

    @property
    def per_k(self) -> UFloat | None:
        """The temperature coefficient (MHz/K, or 1/K for the crystal); None where it could not be told."""
        return self.numbers.get("per_k")

    @property
    def per_day(self) -> UFloat | None:
        """The ageing (MHz, or relative, a day); None where it could not be told."""
        return self.numbers.get("per_day")

    @property
    def scatter(self) -> tuple[float, float, float]:
        """The scatter between records beyond what they state: the median and the ends of its 95 % interval."""
        low, middle, high = (self.found.scatter_quantile(c) for c in (0.025, 0.5, 0.975))
        return middle, low, high

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    def interval(self, term: str, confidence: float = 0.95) -> tuple[float, float]:
        """Return the interval of "offset", "per_k" or "per_day" that holds it with ``confidence``.

        Raises ``AotfLabError`` for a term that could not be told and a confidence outside 0 to 1.
        """
        if term not in self.terms:
            raise AotfLabError(
                f"no such term in the drift of the {self.history.link}", found=term, allowed=", ".join(self.terms),
                cure="ask for one of these" if not self.unknown else f"ask for one of these; {self.unknown[0]}",
            )  # fmt: skip
        return self.found.interval(np.eye(len(self.terms))[self.terms.index(term)], confidence=confidence)

    @property
    def corrected(self) -> FloatArray:
        """The shifts (n,) as they would be at the last record's temperature."""
        if "per_k" not in self.terms:
            return self.history.shift
        k = self.terms.index("per_k")
        return np.asarray(self.history.shift - self.found.mean[k] * self.columns[:, k])

    def chart(self, *, kind: Kind = "individuals", baseline: int | None = None) -> ControlChart:
        """Return the control chart of the shifts, corrected to the last record's temperature."""
        factor, unit = self.history.shown
        return control_chart(
            self.history.dates, factor * self.corrected, u=factor * np.sqrt(np.diag(self.history.covariance)),
            kind=kind, baseline=baseline, name=f"{self.history.link} less its last record", unit=unit,
        )  # fmt: skip

    def plot(self, ax: Any = None) -> Any:
        """Draw the shifts over the temperature, freed from ageing, with the line found; return the Axes."""
        from aotf_lab.drawing.record import plot_temperature

        h, (factor, unit) = self.history, self.history.shown
        place = {name: k for k, name in enumerate(self.terms)}
        shift = h.shift - (self.found.mean[place["per_day"]] * h.days if "per_day" in place else 0.0)
        u = factor * np.hypot(np.sqrt(np.diag(h.covariance)), self.scatter[0])
        grid, line = None, None
        if "per_k" in place:
            span = np.linspace(float(h.temperature_c.min()), float(h.temperature_c.max()), 41)
            over = span - h.temperature_c[-1]
            grid, limits = span, [self.found.interval(self.at(float(k))) for k in over]
            middle = self.found.mean[place["offset"]] + self.found.mean[place["per_k"]] * over
            line = (factor * middle, *(factor * np.array(limits).T))
        return plot_temperature(h.temperature_c, factor * shift, u, grid, line, h.link, unit, ax=ax)

    def at(self, over_k: float, days: float = 0.0) -> FloatArray:
        """Return the combination of the terms at a temperature over the last record's, some days after it."""
        return np.array([{"offset": 1.0, "per_k": over_k, "per_day": days}[name] for name in self.terms])

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        h, (factor, unit) = self.history, self.history.shown
        rows = [("records", f"{len(h)} over {h.span_days:.0f} days, last on {h.dates[-1]}")]
        if not np.isnan(h.temperature_c).any():
            rows.append(("temperatures", f"{h.temperature_c.min():.1f} to {h.temperature_c.max():.1f} C"))
        rows.append((f"change since {h.dates[-2]}", self._last_change()))
        for name, what, per in (("per_k", "temperature", "K"), ("per_day", "ageing", "day")):
            number = self.numbers.get(name)
            if number is None:
                rows.append((what, "not yet known"))
                continue
            low, high = (factor * end for end in self.interval(name))
            rows.append((what, f"{factor * number:.2uS} {unit}/{per}, 95 % {low:.3g} to {high:.3g}"))
        middle, low, high = (factor * s for s in self.scatter)
        rows.append(("scatter between records", f"{middle:.2g} {unit}, 95 % {low:.2g} to {high:.2g}"))
        told = self.found.dof >= _TOLD
        wander = f"{100 * self.found.wander_share:.0f} % of its variance" if told else "not yet known"
        rows.append(("wander in it", wander))
        return tuple(rows)

    def _last_change(self) -> str:
        h, (factor, unit) = self.history, self.history.shown
        c = factor**2 * h.covariance[-2:, -2:]
        change = ufloat(-factor * h.shift[-2], max(float(c[0, 0] + c[1, 1] - 2.0 * c[0, 1]), 1e-12) ** 0.5)
        said = f"{change:+.2uS} {unit}"
        warmer = float(h.temperature_c[-1] - h.temperature_c[-2])
        if np.isfinite(warmer):
            said += f" at {warmer:+.1f} K"
        return said if self.per_k is None else f"{said}, by temperature {factor * self.per_k * warmer:+.2uS}"

    def _title(self) -> str:
        return f"Drift of the {self.history.link}"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), (*self.unknown, *self.failed))

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), (*self.unknown, *self.failed))


def fit_link_drift(
    history: History, *, known_per_k: tuple[float, float] | None = None, u_temperature_k: float = 0.2
) -> LinkDrift:
    """Fit temperature and ageing to a link's records and return the ``LinkDrift``.

    ``known_per_k`` is a temperature coefficient measured within one day, such as over a warm-up, with its u: MHz/K for
    the oscillator, 1/K for the crystal. It counts beside the records and is checked against them. ``u_temperature_k``
    is the noise of one temperature (common practice, no source). A term that the records cannot tell is left out and
    named in ``unknown``: what it does is then part of the scatter between records.
    """
    terms, unknown = _terms(history, known_per_k)
    parts = {"offset": np.ones(len(history)), "per_day": history.days}
    if "per_k" in terms:
        parts["per_k"] = history.temperature_c - history.temperature_c[-1]
    columns = np.column_stack([parts[name] for name in terms])
    known = known_per_k if "per_k" in terms else None
    prior = () if known is None else (Known(terms.index("per_k"), *known),)
    found = fit_scattered(columns, history.shift, history.covariance, prior, history.days)
    checks = drift_checks(history, terms, found, columns, known, u_temperature_k)
    return LinkDrift(history, terms, found, columns, known, u_temperature_k, unknown, checks)


def _terms(history: History, known_per_k: tuple[float, float] | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the terms that these records tell with a degree of freedom to spare, and what they do not, in words."""
    records, known, t = len(history), known_per_k is not None, history.temperature_c
    blank = [str(d) for d, value in zip(history.dates, t, strict=True) if not np.isfinite(value)]
    days = len(set(history.dates)) > 2
    temperature = not blank and (known or float(np.ptp(t)) > 0)
    together = temperature and days and not known and _in_step(t, history.days)
    if temperature and days and records + known >= 4 and not together:
        return ("offset", "per_k", "per_day"), ()
    if blank:
        why = f"not noted with the records of {', '.join(blank)}"
    elif not temperature:
        why = "all records were taken at the same one"
    elif together:
        why = "it went in step with the days: take a record in the other season"
    else:
        why = "it takes 4 records on 3 days, or a coefficient measured within one day"
    about_k = f"temperature of the {history.link} not told: {why}"
    about_days = (
        f"ageing of the {history.link} not told from scatter between records: one more record on another day would"
    )
    if temperature and (known or (not days and records >= 4)):
        return ("offset", "per_k"), (about_days,)
    if days and records >= 4 and not temperature:
        return ("offset", "per_day"), (about_k,)
    return ("offset",), (about_k, about_days)


def _in_step(temperature_c: FloatArray, days: FloatArray) -> bool:
    """Whether temperature and days are one straight line."""
    columns = np.column_stack([np.ones_like(days), days / np.ptp(days), temperature_c - temperature_c[-1]])
    return bool(np.linalg.matrix_rank(columns, tol=1e-6) < 3)
