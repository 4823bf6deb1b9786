"""The questions that every oscillator curve answers about its own readings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.vco_counts import Miscount
from aotf_lab.driver.vco_digits import digits_exchanged
from aotf_lab.driver.vco_drift import UNTOLD_MHZ, same_voltage_v
from aotf_lab.driver.vco_table import VcoTable
from aotf_lab.driver.vco_terms import BEND, UNTOLD, Term, TermedFit, TermTest
from aotf_lab.estimation.checks import Check, chi2_check, chi2_limit, t_limit, z_limit
from aotf_lab.estimation.fit_checks import against_the_others
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.monotone import Monotone

__all__ = ["counts_check", "vco_checks"]

_VISITS = 3
_BLIND = 0.01
"""A test that could miss an effect of this share of the span is no test, and says so."""

_WAY_BACK = 0.2
"""Share of the readings that is to go against the others for a sweep to show its drift by itself."""
MOST_UNSEEN_MHZ = 0.04
"""Drift over a run that may go unseen (common practice, no source): 0.13 of a passband 0.3 MHz wide, or 4 % of its
light; the way up and down with a reference sees drifts of some 25 kHz with the demo's meters."""

_CURES = {
    "drift": "let the oscillator warm up, or keep the reference voltage in every fifth row",
    "temperature": "hold the box temperature, or log it with every reading",
    "supply": "regulate the supply, or log it with every reading",
    "backlash": "approach every voltage from the same side, or drive the input from a generator",
}


def vco_checks(table: VcoTable, termed: TermedFit, monotone: Monotone, u_terms: FloatArray) -> list[Check]:
    """Return the checks of a curve; ``u_terms`` are the standard uncertainties of its terms."""
    checks = [_scatter_check(table, termed), *_stated_checks(table, termed), _single_readings_check(table, termed)]
    checks += [_untold_check(termed.untold)] if termed.untold else []
    checks += [_term_check(test, termed, u_terms) for test in termed.tests]
    if table.side_recorded:
        checks.append(_recorded_side_check(termed, float(u_terms[0])))
    elif np.ptp(table.side) == 0:
        way = "below" if table.side[0] > 0 else "above"
        text = (
            f"cannot be checked: every voltage was approached from {way}, and the curve holds for voltages set from "
            f"{way} only; to use it from both sides, run back as well"
        )
        checks.append(Check("up/down difference", True, text))
    checks += [_reference_check(table, termed), _monotone_check(monotone)]
    return checks


def counts_check(found: tuple[Miscount, ...], shift_mhz: float) -> Check:
    """Return the check "counts"; ``shift_mhz`` is how far the curve would move with the rows kept."""
    if not found:
        return Check("counts", True, "no count is near twice or half of what the other rows say")
    rows = "; ".join(str(m) for m in found)
    detail = (
        f"{len(found)} of the counts left out of the fit, the nearest to a factor of two: {rows}; limit 0; "
        f"kept, they would move the curve by up to {shift_mhz:.3g} MHz; set the counter's trigger level and "
        "measure these voltages again"
    )
    return Check("counts", False, detail, shift_mhz)


def _scatter_check(table: VcoTable, termed: TermedFit) -> Check:
    fit = termed.fit
    if table.u_frequency_known:
        return chi2_check(fit.chi2, fit.dof, "the oscillator readings")
    size = 1e3 * float(np.median(fit.spread))
    detail = (
        f"u of the counts not stated for every row: estimated from the scatter, {size:.3g} kHz per reading on "
        f"{fit.dof:.3g} degrees of freedom; state the counter's uncertainty"
    )
    return Check("stated uncertainty", False, detail)


def _stated_checks(table: VcoTable, termed: TermedFit) -> list[Check]:
    if table.u_drive_known or not table.u_frequency_known:
        return []
    detail = (
        "u of the voltages not stated for every row: where it is missing it counts as the others' median, or as "
        "0 V, and shows only as scatter in f; state the voltmeter's uncertainty"
    )
    return [Check("stated uncertainty", False, detail)]


_ALONE = 1e-3
"""How little the other rows may tell of a reading that is judged by them: one that alone tells a drift is not."""


def _single_readings_check(table: VcoTable, termed: TermedFit) -> Check:
    fit = termed.fit
    size = np.abs(fit.residuals) / np.sqrt(np.clip(1 - fit.leverage, 1e-6, None)) / fit.birge
    size[fit.leverage > 1 - _ALONE] = 0.0
    limit = z_limit(len(table))
    if not table.u_frequency_known or fit.birge > 1:  # the scatter holds the reading that is asked about
        size, limit = against_the_others(size, fit.dof), t_limit(fit.dof - 1, len(table))
    worst = int(np.argmax(size))
    gap = float(fit.residuals[worst] * fit.spread[worst] / max(1 - fit.leverage[worst], 1e-6))
    detail = (
        f"largest gap from what the other rows say is {1e3 * gap:+.3g} kHz at {table.place(worst)}, "
        f"{size[worst]:.1f} standard deviations; limit {limit:.1f}"
    )
    if size[worst] <= limit:
        return Check("single readings", True, detail)
    kept = float(fit.leverage[worst]) * gap
    detail += f"; it is kept and moves the curve there by {1e3 * kept:+.3g} kHz"
    if why := digits_exchanged(table, worst):
        detail += f"; {why}"
    cure = "read that voltage again, or pass its line over in a layout (skip_lines)"
    return Check("single readings", False, f"{detail}; {cure}", abs(kept))


def _term_check(test: TermTest, termed: TermedFit, u_terms: FloatArray) -> Check:
    """Return the check of one candidate term: not there, or found and modelled."""
    term, limit = test.term, z_limit()
    if term.is_shift:
        return _side_check(test, termed, float(u_terms[0]) if test.added else np.inf)
    if not test.added:
        size, u = 1e3 * test.value * term.over, 1e3 * test.u * term.over
        unseen = f"an effect below {limit * u:.3g} kHz over the run would go unseen"
        if limit * u > 1e3 * _BLIND * _span(termed):
            return Check(term.question, True, f"cannot be checked: the curve itself could take its shape; {unseen}")
        detail = f"{size:+.3g} +- {u:.2g} kHz over the run, limit {limit:.1f} standard uncertainties"
        return Check(term.question, True, f"{detail}; {unseen}")
    place = termed.terms.index(term)
    value, u = float(termed.fit.values[len(termed.fit.nodes) + place]), float(u_terms[place])
    size, ratio = value * term.over, abs(value) / u
    detail = (
        f"{1e3 * size:+.3g} +- {1e3 * u * term.over:.2g} kHz over the run "
        f"({term.shape or f'{value:.3g} {term.unit}'}), {ratio:.1f} standard uncertainties, limit {limit:.1f}"
    )
    if term.name == BEND:
        detail += "; modelled because the drift is, whose own check fails, and its doubt is in the band"
        return Check(term.question, True, detail, abs(size))
    if ratio <= limit:
        detail += "; beyond the limit before the other terms were allowed for"
    cure = (
        "modelled, and the curve stands for the last reading's time and the mean of every other condition; "
        f"{_CURES[term.name]}"
    )
    return Check(term.question, False, f"{detail}: {cure}", abs(size))


def _untold_check(drift: Term) -> Check:
    """Return the failed check of a drift that nothing in the readings tells."""
    detail = (
        "cannot be checked: the sweep goes one way and comes back to no voltage, so that a drift looks like the "
        f"curve; {1e3 * UNTOLD_MHZ:.3g} kHz over the run stand in the band as {UNTOLD!r}; "
        "run back as well, or keep the reference voltage in every fifth row"
    )
    return Check(drift.question, False, detail, UNTOLD_MHZ)


def _side_check(test: TermTest, termed: TermedFit, u_final: float) -> Check:
    """Return the check of an up/down difference that only the order of the rows tells."""
    if test.added:
        return _side_detail(float(termed.fit.values[len(termed.fit.nodes)]), u_final, termed, passed=False)
    if z_limit() * test.u > _BLIND * (termed.fit.high - termed.fit.low):
        return Check(test.term.question, True, "cannot be checked: no voltage was approached from both sides")
    return _side_detail(test.value, test.u, termed, passed=True)


def _recorded_side_check(termed: TermedFit, u: float) -> Check:
    value = float(termed.fit.values[len(termed.fit.nodes)])
    return _side_detail(value, u, termed, abs(value) <= z_limit() * u)


def _side_detail(value: float, u: float, termed: TermedFit, passed: bool) -> Check:
    slope = _span(termed) / (termed.fit.high - termed.fit.low)
    detail = (
        f"{1e3 * value:+.3g} +- {1e3 * u:.2g} mV between up and down, {1e3 * value * slope:+.3g} +- "
        f"{1e3 * u * slope:.2g} kHz at the mean slope; limit {z_limit():.1f} standard uncertainties"
    )
    if passed:
        return Check("up/down difference", True, detail)
    cure = f"the curve is the mean of both sides and half the difference is a cause in its band; {_CURES['backlash']}"
    return Check("up/down difference", False, f"{detail}; {cure}", abs(value) * slope / 2)


def _span(termed: TermedFit) -> float:
    """Return the span of the curve (MHz)."""
    return float(np.ptp(termed.fit.values[: len(termed.fit.nodes)]))


def _reference_check(table: VcoTable, termed: TermedFit) -> Check:
    """Return the check that a voltage visited again and again gave the same frequency, model apart."""
    visits = _most_visited(table)
    if len(visits) < _VISITS or visits.max() - visits.min() < len(table) / 2:
        return _no_reference_check(table, termed)
    fit, v = termed.fit, table.drive_v[visits]
    f = table.frequency_mhz[visits] - termed.moved_mhz(table)[visits] - (fit.curve(v) - fit.curve(v[:1]))
    weight = fit.spread[visits] ** -2.0
    gap = f - float(np.sum(weight * f) / np.sum(weight))
    chi2, limit = float(np.sum(weight * gap**2)) / fit.birge**2, chi2_limit(len(visits) - 1)
    detail = (
        f"{len(visits)} visits to {v[0]:.4g} V stay within {1e3 * float(np.ptp(f)):.3g} kHz, "
        f"chi2 {chi2:.1f}, limit {limit:.1f}"
    )
    if chi2 <= limit:
        return Check("reference voltage", True, detail)
    cure = "something moved that the terms of this fit do not follow; wait for the oscillator to settle"
    return Check("reference voltage", False, f"{detail}; {cure}", float(np.ptp(f)))


def _no_reference_check(table: VcoTable, termed: TermedFit) -> Check:
    """Return the check where no voltage was kept: it fails where the way back does not show a drift instead."""
    text, cure = "cannot be checked: no voltage was visited three times through the run", "keep one in every fifth row"
    drift = next((t for t in termed.tests if t.term.name == "drift" and not t.added), None)
    back = float(min(np.mean(table.side > 0), np.mean(table.side < 0)))
    if drift is None or back >= _WAY_BACK:
        return Check("reference voltage", True, f"{text}; {cure}")
    unseen = z_limit() * drift.u * drift.term.over
    detail = (
        f"{1e2 * back:.2g} % of the readings go against the others, {1e2 * _WAY_BACK:.2g} % make a way back; a drift "
        f"below {1e3 * unseen:.3g} kHz over the run looks like the curve, limit {1e3 * MOST_UNSEEN_MHZ:g} kHz"
    )
    if unseen <= MOST_UNSEEN_MHZ:
        return Check("reference voltage", True, f"{text}; {detail}")
    return Check("reference voltage", False, f"{text}; {detail}; {cure}, or run back as well", unseen)


def _most_visited(table: VcoTable) -> NDArray[np.intp]:
    """Return the rows of the voltage that was set most often."""
    order = np.argsort(table.drive_v, kind="stable")
    apart = np.diff(table.drive_v[order]) > same_voltage_v(table)
    groups = np.split(order, np.flatnonzero(apart) + 1)
    return max(groups, key=len)


def _monotone_check(monotone: Monotone) -> Check:
    if monotone.falls_at is None:
        return Check("monotone", True, "the curve rises everywhere; limit: a slope above zero")
    low, high = monotone.falls_at
    detail = (
        f"between {low:.4g} and {high:.4g} V the nearest rising curve was taken, {monotone.distance_squared**0.5:.2g} "
        "standard uncertainties from the free one; there the slope, and V for a given f, is poorly known"
    )
    return Check("monotone", True, detail)
