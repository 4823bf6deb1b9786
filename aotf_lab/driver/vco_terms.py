"""What may move the oscillator besides its voltage: drift, temperature, supply, the side of approach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.vco_drift import BEND_SHARE, bend_shapes, goes_one_way, held_near_zero, untold_at_nodes
from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth

__all__ = ["BEND", "UNTOLD", "Term", "TermTest", "TermedFit", "fit_with_terms"]

BEND = "bend of the drift"
UNTOLD = "drift that a one-way sweep cannot show"
_MOST_ADDED = 5
_CLEARLY = 4.0
"""Twice the logarithm of the likelihood ratio from which a faster bend is taken: two standard uncertainties."""


@dataclass(frozen=True)
class Term:
    """One possible term. ``column`` (n,) times its coefficient, in ``unit``, adds to f in MHz.

    For the side of approach (``is_shift``) it adds to V in V instead. ``over`` is the change of
    the column over the run, so coefficient times ``over`` is the term's effect in MHz (or V).
    ``shape`` says in words how a bend goes.
    """

    name: str
    question: str
    unit: str
    column: FloatArray
    is_shift: bool = False
    shape: str = ""

    @property
    def over(self) -> float:
        """The change of the column over the run."""
        return float(np.ptp(self.column))


@dataclass(frozen=True)
class TermTest:
    """A term's coefficient and standard uncertainty when it was tested; ``u`` infinite when it cannot be told.

    ``added`` says whether it was significant and is now part of the fit.
    """

    term: Term
    value: float
    u: float
    added: bool


@dataclass(frozen=True)
class TermedFit:
    """The curve with its terms, in the order of the fit's last values, and the tests of all candidates.

    ``beside`` are causes of error that are not in the fit's covariances: for each name the covariance
    (p, p) of all values from it. ``untold`` is the drift where nothing tells it.
    """

    fit: SmoothFit
    terms: tuple[Term, ...]
    tests: tuple[TermTest, ...]
    beside: dict[str, FloatArray]
    untold: Term | None

    @property
    def covariance(self) -> FloatArray:
        """The covariance (p, p) of all values, from every cause."""
        return sum(self.beside.values(), self.fit.scatter + self.fit.form)

    def moved_mhz(self, table: VcoTable) -> FloatArray:
        """Return how far all terms together move each reading (n,)."""
        total = np.zeros(len(table))
        for term, coefficient in zip(self.terms, self.fit.values[len(self.fit.nodes) :], strict=True):
            total = total + coefficient * _effect(term, self.fit, table)
        return total


def fit_with_terms(table: VcoTable) -> TermedFit:
    """Fit the curve; a recorded direction is always a term, any other only when it is significant.

    One at a time, the most significant first. Time and order are one candidate: time where it was
    recorded. A drift that is found brings its bend along, significant or not: a weak prior ties it
    to the size of the drift, and the doubt that is left is part of the result. In a sweep that goes
    one way nothing tells a drift; it is no candidate then, but a cause beside the fit.
    """
    side = Term("backlash", "up/down difference", "V", table.side, is_shift=True)
    terms = [side] if table.side_recorded else []
    drift, *waiting = _candidates(table)
    untold = drift if goes_one_way(table, drift.column) else None
    waiting += [] if untold else [drift]
    waiting += [side] if not table.side_recorded and np.ptp(table.side) > 0 else []
    tests: list[TermTest] = []
    fit, limit, u_bend, doubt = _fit(table, terms), z_limit(), 0.0, np.zeros((0, 0))
    while waiting:
        results = [(term, *fit.term_test(_effect(term, fit, table))) for term in waiting]
        term, value, u = max(results, key=lambda r: abs(r[1]) / r[2])
        if abs(value) <= limit * u or len(terms) >= _MOST_ADDED:
            tests += [TermTest(*result, added=False) for result in results]
            break
        tests.append(TermTest(term, value, u, added=True))
        waiting = [w for w in waiting if w is not term]
        terms.append(term)
        fit = _fit(table, terms)
        if term is drift:
            u_bend = BEND_SHARE * abs(float(fit.values[-1])) * drift.over
            bend, bent, doubt = _bend(table, terms, drift, u_bend)
            tests.append(TermTest(bend, *fit.term_test(bend.column), added=True))
            terms.append(bend)
            fit = bent
    ordered = _ordered(terms)
    beside = {}
    if u_bend > 0:
        fit, effect = _with_bend_held(table, fit, ordered, u_bend)
        beside[BEND] = np.outer(effect, effect)
        beside[BEND][: len(doubt), : len(doubt)] += doubt @ doubt.T
    if untold:
        effect = untold_at_nodes(fit, table, untold.column)
        beside[UNTOLD] = np.outer(effect, effect)
    return TermedFit(fit, tuple(ordered), tuple(tests), beside, untold)


def _with_bend_held(table: VcoTable, fit: SmoothFit, terms: list[Term], u_bend: float) -> tuple[SmoothFit, FloatArray]:
    """Return the fit with the bend's prior, and what its doubt does to all values."""
    place = len(fit.nodes) + next(k for k, t in enumerate(terms) if t.name == BEND)
    columns = [_effect(t, fit, table)[:, None] for t in terms]
    design = np.concatenate([fit.rows(table.drive_v), *columns], axis=1)
    return held_near_zero(fit, place, u_bend, design)


def _bend(table: VcoTable, terms: list[Term], drift: Term, u: float) -> tuple[Term, SmoothFit, FloatArray]:
    """Return the drift's bend in the slowest shape that the readings allow, the fit with it, and the shape's doubt.

    How much a second shape would still add to the fit with a first, less the reverse, is twice the
    logarithm of their likelihood ratio (both are steps to the same larger model). The doubt (m, k)
    is how far each of the shapes, its size 0 +- ``u`` beforehand, would move the curve's nodes,
    weighted by its likelihood.
    """
    bends = [Term(BEND, BEND, "MHz", c, shape=shape) for shape, c in bend_shapes(drift.column).items()]
    fits = [_fit(table, [*terms, bend]) for bend in bends]
    pulls = np.array([[np.divide(*fit.term_test(bend.column)) for bend in bends] for fit in fits])
    np.fill_diagonal(pulls, 0.0)
    gained = pulls**2 - pulls.T**2
    best = 0
    for k in range(1, len(bends)):
        best = k if gained[best, k] > _CLEARLY else best
    weight = np.exp(0.5 * (gained[best] - gained[best].max()))
    held = [_with_bend_held(table, fit, _ordered([*terms, b]), u)[0] for b, fit in zip(bends, fits, strict=True)]
    nodes = np.stack([fit.values[: len(fit.nodes)] for fit in held], axis=1)
    return bends[best], fits[best], (nodes - nodes[:, [best]]) * np.sqrt(weight / weight.sum())


def _ordered(terms: list[Term]) -> list[Term]:
    """Return the terms in the order of the fit's values: shifts of V first."""
    return sorted(terms, key=lambda t: not t.is_shift)


def _fit(table: VcoTable, terms: list[Term]) -> SmoothFit:
    shifts = [t.column for t in terms if t.is_shift]
    others = [t.column for t in terms if not t.is_shift]
    return fit_smooth(
        table.drive_v,
        table.frequency_mhz,
        table.u_drive_v,
        table.u_frequency_mhz,
        shifts=np.stack(shifts, axis=1) if shifts else None,
        others=np.stack(others, axis=1) if others else None,
        u_known=table.u_frequency_known,
    )


def _effect(term: Term, fit: SmoothFit, table: VcoTable) -> FloatArray:
    return fit.slope(table.drive_v) * term.column if term.is_shift else term.column


def _candidates(table: VcoTable) -> list[Term]:
    """Return drift, first, then temperature and supply.

    The curve stands for the last reading's time and the mean of the others.
    """
    found = []
    time_s = table.others.get("time_s")
    if time_s is not None:
        found.append(Term("drift", "drift with time", "MHz/min", (time_s - time_s[-1]) / 60))
    else:
        order = np.arange(len(table), dtype=float)
        found.append(Term("drift", "drift with order", "MHz/reading", order - order[-1]))
    for column, name, unit in (("temperature_c", "temperature", "MHz/K"), ("supply_v", "supply", "MHz/V")):
        values = table.others.get(column)
        if values is not None:
            found.append(Term(name, f"effect of the {name}", unit, values - values.mean()))
    return found
