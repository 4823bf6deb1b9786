"""What may move the oscillator besides its voltage: drift, temperature, supply, the side of approach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth

__all__ = ["Term", "TermTest", "TermedFit", "fit_with_terms"]

_MOST_ADDED = 4


@dataclass(frozen=True)
class Term:
    """One possible term. ``column`` (n,) times its coefficient, in ``unit``, adds to f in MHz.

    For the side of approach (``is_shift``) it adds to V in V instead. ``over`` is the change of
    the column over the run, so coefficient times ``over`` is the term's effect in MHz (or V).
    """

    name: str
    question: str
    unit: str
    column: FloatArray
    is_shift: bool = False

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
    """The curve with its terms, in the order of the fit's last values, and the tests of all candidates."""

    fit: SmoothFit
    terms: tuple[Term, ...]
    tests: tuple[TermTest, ...]

    def moved_mhz(self, table: VcoTable) -> FloatArray:
        """Return how far all terms together move each reading (n,)."""
        total = np.zeros(len(table))
        for term, coefficient in zip(self.terms, self.fit.values[len(self.fit.nodes) :], strict=True):
            total = total + coefficient * _effect(term, self.fit, table)
        return total


def fit_with_terms(table: VcoTable) -> TermedFit:
    """Fit the curve; a recorded direction is always a term, any other only when it is significant.

    One at a time, the most significant first. A drift that is found may also bend: its square
    becomes a candidate then. Time and order are one candidate: time where it was recorded.
    """
    side = Term("backlash", "up/down difference", "V", table.side, is_shift=True)
    terms = [side] if table.side_recorded else []
    waiting = _candidates(table) + ([side] if not table.side_recorded and np.ptp(table.side) > 0 else [])
    tests: list[TermTest] = []
    fit = _fit(table, terms)
    limit = z_limit()
    while waiting:
        results = [(term, *fit.term_test(_effect(term, fit, table))) for term in waiting]
        term, value, u = max(results, key=lambda r: abs(r[1]) / r[2])
        if abs(value) <= limit * u or len(terms) >= _MOST_ADDED:
            tests += [TermTest(*result, added=False) for result in results]
            break
        tests.append(TermTest(term, value, u, added=True))
        waiting = [w for w in waiting if w is not term]
        if term.name == "drift":
            waiting.append(Term("bend of the drift", "bend of the drift", f"{term.unit}^2", term.column**2))
        terms.append(term)
        fit = _fit(table, terms)
    return TermedFit(fit, tuple(sorted(terms, key=lambda t: not t.is_shift)), tuple(tests))


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
    """Return drift, temperature and supply; the curve stands for the last reading's time, the mean temperature."""
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
