"""From the oscillator's readings to its curve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from aotf_lab.driver.vco import Vco
from aotf_lab.driver.vco_checks import counts_check, vco_checks
from aotf_lab.driver.vco_counts import Miscount, miscounts
from aotf_lab.driver.vco_table import FEWEST_VOLTAGES, VcoTable, vco_table
from aotf_lab.driver.vco_terms import TermedFit, fit_with_terms
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.causes import new_cause
from aotf_lab.estimation.checks import Check, chi2_limit
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth
from aotf_lab.estimation.smooth.monotone import Monotone, made_monotone
from aotf_lab.estimation.smooth.numbers import LinearNumbers, linear_numbers
from aotf_lab.reading.readings import Readings, as_readings

__all__ = ["fit_vco"]

SCATTER = "scatter of the oscillator readings"
FORM = "form of the oscillator curve"
BACKLASH = "backlash of the pot"


def fit_vco(readings: Readings | pd.DataFrame) -> Vco:
    """Fit the oscillator's curve f(V) to its readings.

    Columns: ``drive_v`` and ``frequency_mhz`` with ``u_drive_v`` and ``u_frequency_mhz`` (NaN where
    unknown: estimated from the scatter, and a check says so); optional ``direction`` ("up" or
    "down": from which side the voltage was approached), ``time_s``, ``temperature_c``, ``supply_v``.

    The curve has no assumed form beyond being smooth and rising; its band carries the doubt about
    the form (``estimation.smooth.prior``). It is in volts as the voltmeter of the readings shows
    them. Drift, temperature and supply become terms of the fit when they are significant; the curve
    then stands for the last reading's time and the mean of the other conditions. A drift that a
    one-way sweep cannot show fails a check and widens the band. An up/down
    difference is one term: the curve is the mean of both sides. Counts near twice or half of what
    the other rows say are left out, each named in the check "counts".

    Method: a Gaussian process whose readings have errors in both variables (York et al., Am. J. Phys. 72, 367 (2004)).

    Raises ``ReadingsError`` when the readings cannot carry a curve: see ``vco_table`` and
    ``miscounts``; and when the frequency falls with rising voltage by more than the readings'
    uncertainties explain.
    """
    wrapped = as_readings(readings)
    everything = vco_table(wrapped)
    wrong = miscounts(everything)
    table = _without(everything, wrong)
    _refuse_falling(table)
    termed = fit_with_terms(table)
    monotone = made_monotone(termed.fit)
    _refuse_not_monotone(table, monotone)
    termed = replace(termed, fit=monotone.fit)
    return _assembled(wrapped, table, termed, monotone, _counts(everything, wrong, termed.fit))


def _assembled(readings: Readings, table: VcoTable, termed: TermedFit, monotone: Monotone, counts: Check) -> Vco:
    curve = termed.fit
    numbers = linear_numbers(curve.values, {SCATTER: curve.scatter, FORM: curve.form, **termed.beside})
    first = len(curve.nodes)
    u_terms = np.sqrt(np.diag(termed.covariance))[first:]
    fit = _as_fit(curve, termed, numbers, (counts, *vco_checks(table, termed, monotone, u_terms)))
    two_sided = bool(termed.terms) and termed.terms[0].is_shift
    reversal = None
    if two_sided:
        known = float(curve.values[first] ** 2 - u_terms[0] ** 2)
        reversal = new_cause(BACKLASH, 0.5 * max(known, 0.0) ** 0.5)
    u_counts = float(np.median(table.u_frequency_mhz)) if curve.u_known else float(np.median(curve.spread))
    u_drive = float(np.median(table.u_drive_v)) if curve.u_known else 0.0
    return Vco(readings, fit, curve, numbers, two_sided, reversal, u_counts, u_drive)


def _as_fit(curve: SmoothFit, termed: TermedFit, numbers: LinearNumbers, checks: tuple[Check, ...]) -> Fit:
    names = [f"frequency at {v:.6g} V (MHz)" for v in curve.nodes]
    names += [f"{t.name} ({t.unit})" for t in termed.terms]
    return Fit(
        dict(zip(names, numbers.combine(np.eye(len(names))), strict=True)),
        curve.values,
        termed.covariance,
        curve.chi2,
        curve.dof,
        curve.birge,
        curve.u_known,
        curve.residuals,
        curve.leverage,
        checks,
    )


def _without(table: VcoTable, wrong: tuple[Miscount, ...]) -> VcoTable:
    if not wrong:
        return table
    kept = table.rows(np.setdiff1d(np.arange(len(table)), [m.row for m in wrong]))
    if len(np.unique(kept.drive_v)) < FEWEST_VOLTAGES:
        raise ReadingsError(
            "too few different voltages are left without the doubled and halved counts",
            where=", ".join(m.place for m in wrong),
            found=len(np.unique(kept.drive_v)),
            allowed=f"at least {FEWEST_VOLTAGES}",
            cure="set the counter's trigger level and measure again",
        )
    return kept


def _counts(table: VcoTable, wrong: tuple[Miscount, ...], curve: SmoothFit) -> Check:
    """Return the check of the counts, with what keeping the wrong ones would have done."""
    if not wrong:
        return counts_check((), 0.0)
    kept = fit_smooth(
        table.drive_v, table.frequency_mhz, table.u_drive_v, table.u_frequency_mhz, u_known=table.u_frequency_known
    )
    places = np.linspace(curve.low, curve.high, 101)
    return counts_check(wrong, float(np.max(np.abs(kept.curve(places) - curve.curve(places)))))


def _refuse_falling(table: VcoTable) -> None:
    correlation = float(np.corrcoef(table.drive_v, table.frequency_mhz)[0, 1]) if np.ptp(table.frequency_mhz) else 0.0
    if correlation > 0:
        return
    low, high = int(np.argmin(table.drive_v)), int(np.argmax(table.drive_v))
    raise ReadingsError(
        "the frequency does not rise with the voltage",
        where=f"{table.place(low)} to {table.place(high)}",
        found=Said(
            f"{table.frequency_mhz[low]:.6g} MHz at {table.drive_v[low]:.4g} V and "
            f"{table.frequency_mhz[high]:.6g} MHz at {table.drive_v[high]:.4g} V"
        ),
        allowed="a frequency that rises with the voltage",
        cure="check which column is which and the sign of the voltage",
    )


def _refuse_not_monotone(table: VcoTable, monotone: Monotone) -> None:
    if monotone.falls_at is None or monotone.distance_squared <= chi2_limit(2):
        return
    low, high = monotone.falls_at
    below = table.drive_v[table.drive_v <= low]
    above = table.drive_v[table.drive_v >= high]
    inside = (table.drive_v >= (below.max() if below.size else low)) & (
        table.drive_v <= (above.min() if above.size else high)
    )
    rows = np.flatnonzero(inside)
    rows = rows[np.argsort(table.drive_v[rows], kind="stable")]
    raise ReadingsError(
        "the frequency falls with rising voltage",
        where=", ".join(table.place(k) for k in rows[:8]),
        found=Said(", ".join(f"{table.frequency_mhz[k]:.6g} MHz at {table.drive_v[k]:.4g} V" for k in rows[:8])),
        allowed="a curve that rises everywhere, within the readings' uncertainties",
        cure="read these voltages again; a fall can be a wrong row, a drift during the run, or a second mode",
    )
