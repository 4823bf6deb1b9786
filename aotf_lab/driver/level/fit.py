"""From readings of level to RF power over supply and band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from uncertainties import UFloat

from aotf_lab.driver.level.checks import level_checks
from aotf_lab.driver.level.current import fit_current
from aotf_lab.driver.level.level import MIDDLE, WAY, Level, kept_share
from aotf_lab.driver.level.numbers import shared_numbers
from aotf_lab.driver.level.rows import LevelRows, Run, level_rows, runs
from aotf_lab.driver.level.scale import PER_NEPER, scale_errors_of, scale_u
from aotf_lab.driver.level.supply_curve import SupplyCurve, fit_supply_curve
from aotf_lab.estimation.causes import new_cause
from aotf_lab.estimation.fit import Fit
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.smooth.curve import SmoothFit, fit_smooth
from aotf_lab.estimation.smooth.numbers import linear_numbers
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED
from aotf_lab.reading.readings import Readings

__all__ = ["fit_level"]

SCATTER = "scatter of power over the band"
FORM = "form of power over the band"

_UNSTATED_DB = 0.1


def fit_level(readings: Readings | pd.DataFrame | Sequence[Readings | pd.DataFrame]) -> Level:
    """Fit RF power against supply and frequency to one table of readings or several.

    Columns: ``supply_v``, ``frequency_mhz``, ``rf_power_w`` with ``u_rf_power_w``; optional ``supply_a``. A file keeps
    the errors of its own way of reading, volts rms or peak to peak, in one joined table as in several. The rows at the
    one frequency with most supplies make the curve over the supply, those at the one supply with most frequencies the
    shape over the band (of unknown form, in dB, so a ripple by mismatch is part of it); rows in neither are held
    against the curve by a check. See ``Level`` for how both are put together.

    Raises ``ReadingsError`` for a missing column, a value that is not above zero, and fewer than five supplies at one
    frequency or five frequencies at one supply.
    """
    rows = level_rows(readings)
    over_supply, over_band, neither = runs(rows)
    along = fit_supply_curve(rows, over_supply)
    shape = _shape(rows, over_band, along)
    typical_w = (float(np.mean(rows.power_w[over_supply.rows])), float(np.mean(rows.power_w[over_band.rows])))
    at = over_supply.setting
    of_supply, of_band = (
        scale_u(((run, w, 1.0),), at) for run, w in zip((over_supply, over_band), typical_w, strict=True)
    )
    errors = scale_errors_of(over_supply, over_band, of_band <= of_supply, typical_w)
    nodes = linear_numbers(shape.values, {SCATTER: shape.scatter, FORM: shape.form}).combine(np.eye(len(shape.values)))
    base: list[UFloat] = [*along.numbers, *nodes, new_cause(WAY, 12.0**-0.5, MIDDLE)]
    base += [e.error.variable for e in errors]
    known = not any(e.error.name == POWER_SCALE_UNSTATED for e in errors)
    level = Level(
        rows, _as_fit(along, shape, base), along, shape, over_supply, over_band, neither, errors,
        shared_numbers(base), of_band <= of_supply, None, known,
    )  # fmt: skip
    current = fit_current(rows, _own_power(level))
    return replace(level, fit=level.fit.with_checks(*level_checks(level)), current=current)


def _own_power(level: Level) -> FloatArray:
    """Return the level's power (n,) at the setting of every row, NaN beyond its range."""
    v, f = level.rows.supply_v, level.rows.frequency_mhz
    (low_v, high_v), (low, high) = level.range_v, level.range_mhz
    inside = (v >= low_v) & (v <= high_v) & (f >= low) & (f <= high)
    power = level.nominal_w(np.clip(v, low_v, high_v), np.clip(f, low, high))
    return np.where(inside, power, np.nan)


def _shape(rows: LevelRows, run: Run, along: SupplyCurve) -> SmoothFit:
    """Return the band run's power less the supply curve's at its supply, in dB, as a smooth curve over frequency."""
    power, frequency = rows.power_w[run.rows], rows.frequency_mhz[run.rows]
    at = np.clip(rows.supply_v[run.rows], along.low, along.high)
    db = PER_NEPER * np.log(power) - along.db(at)
    known = rows.u_power_w is not None
    u = np.full(len(db), _UNSTATED_DB) if rows.u_power_w is None else PER_NEPER * rows.u_power_w[run.rows] / power
    kept = float(kept_share(along.gain_left(np.array([run.setting]))[0], MIDDLE))
    return fit_smooth(frequency, db / kept, np.zeros_like(db), u / kept, u_known=known)


def _as_fit(along: SupplyCurve, shape: SmoothFit, base: list[UFloat]) -> Fit:
    """Return the fit of both curves: their numbers, and the chi-square of both together."""
    p, m = len(along.numbers), len(shape.values)
    names = [f"supply curve {k}" for k in range(p)] if along.fit is None else list(along.fit.parameters)
    names += [f"shape at {f:.4g} MHz (dB)" for f in shape.nodes]
    of_supply = along.fit if along.fit is not None else along.smooth
    assert of_supply is not None
    covariance = np.zeros((p + m, p + m))
    covariance[:p, :p] = along.covariance
    covariance[p:, p:] = shape.scatter + shape.form
    return Fit(
        dict(zip(names, base[: p + m], strict=True)),
        np.concatenate([along.values, shape.values]),
        covariance,
        of_supply.chi2 + shape.chi2,
        of_supply.dof + shape.dof,
        max(of_supply.birge, shape.birge),
        of_supply.u_known and shape.u_known,
        np.concatenate([of_supply.residuals, shape.residuals]),
        np.concatenate([of_supply.leverage, shape.leverage]),
        along.checks,
    )
