"""When a calibration is due: against the textbook's prediction interval, and what sets the day."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.physics.coupled_waves import detuning_for_light, light_lost
from aotf_lab.record.drift import Passband, drift_of_tables
from aotf_lab.record.drift.between import fit_scattered

START = date(2031, 3, 2)
LINE = {"E": Passband(64.0, 0.3)}


def table(days, t, f, u=1e-6):
    dates = [START + timedelta(days=int(d)) for d in days]
    return pd.DataFrame({"date": dates, "temperature_c": t, "frequency_mhz": f, "u_frequency_mhz": u})


def bench(count=16, seed=1, ageing=3e-5, scatter=0.004):
    rng = np.random.default_rng(seed)
    days = np.round(np.linspace(0, 700, count))
    t = 21 + 3 * np.sin(days / 58.0) + rng.normal(0, 0.7, count)
    oscillator = 66 - 0.046 * (t - 22) + ageing * days + rng.normal(0, scatter, count)
    crystal = 64 * (1 + 4.6e-5 * (t - 22)) + rng.normal(0, 0.0008, count)
    return table(days, t, oscillator, 0.002), table(days, t, crystal, 0.0008)


def without_wander(drift):
    """Return the drift with a scatter that is new for each record, as the textbook has it."""
    o = drift.oscillator
    white = fit_scattered(o.columns, o.history.shift, o.history.covariance)
    return replace(drift, oscillator=replace(o, found=white))


def test_chance_is_that_of_the_prediction_interval_for_one_new_value():
    """Offset alone: a new value less the mean is s sqrt(1 + 1/n) Student t (ISO 16269-8, from memory)."""
    rng = np.random.default_rng(1)
    y = 66 + rng.normal(0, 0.012, 3)
    due = without_wander(drift_of_tables(oscillator=table([0, 40, 90], [20, 20, 20], y), lines=LINE)).due(20.0)
    allowed = float(detuning_for_light(0.8)) * 0.3
    spread = y.std(ddof=1) * (1 + 1 / 3) ** 0.5
    low, high = ((y[-1] + sign * allowed - y.mean()) / spread for sign in (-1, 1))
    assert due.chance[0] == pytest.approx(stats.t.cdf(high, 2) - stats.t.cdf(low, 2), abs=2e-3)
    assert due.allowed_khz == pytest.approx(1e3 * allowed)


def test_day_is_that_on_which_the_prediction_of_a_straight_line_leaves_the_allowed():
    """Least squares' prediction at a day: u = s sqrt(1 + 1/n + (d - mean)^2 / Sxx), Student t on n - 2."""
    rng = np.random.default_rng(4)
    days = np.round(np.linspace(0, 1500, 12))
    y = 66 + 4e-5 * days + rng.normal(0, 0.003, 12)
    due = without_wander(drift_of_tables(oscillator=table(days, [20.0] * 12, y), lines=LINE)).due(5.0)
    allowed = float(detuning_for_light(0.95)) * 0.3
    line = stats.linregress(days, y)
    s = ((y - line.intercept - line.slope * days) @ (y - line.intercept - line.slope * days) / 10) ** 0.5

    def chance(ahead):
        at = days[-1] + ahead
        u = s * (1 + 1 / 12 + (at - days.mean()) ** 2 / np.sum((days - days.mean()) ** 2)) ** 0.5
        mean = line.intercept + line.slope * at - y[-1]
        return stats.t.cdf((allowed - mean) / u, 10) - stats.t.cdf((-allowed - mean) / u, 10)

    first = next(d for d in range(1, 1500) if chance(d) < 0.95)
    assert abs((due.date - due.last).days - first) <= 2
    assert due.limited_by == "ageing of the oscillator"
    assert not due.reach


def test_the_tighter_the_loss_the_earlier():
    oscillator, crystal = bench()
    drift = drift_of_tables(oscillator=oscillator, crystal=crystal, lines=LINE)
    found = [drift.due(loss, corrected=True) for loss in (0.1, 3.0, 5.0, 8.0)]
    ahead = [0 if d.date is None else (d.date - d.last).days for d in found]
    assert ahead == sorted(ahead)
    assert ahead[0] == 0 < ahead[2]


def test_uncorrected_temperature_sets_the_day_and_a_small_swing_does_not():
    oscillator, crystal = bench()
    drift = drift_of_tables(oscillator=oscillator, crystal=crystal, lines=LINE)
    plain = drift.due(2.0)
    assert plain.date is None
    assert plain.limited_by == "temperature of the oscillator"
    assert "every day, before use: no day keeps to 2 % at 95 %" in str(plain)
    assert drift.due(5.0, temperature_swing_k=0.2).date is not None
    assert drift.due(5.0, temperature_swing_k=3.0).date is None
    crystal_alone = drift.due(5.0, link="crystal")
    assert crystal_alone.reach
    assert crystal_alone.date == crystal_alone.last + timedelta(days=701)
    assert "no further ahead is anything promised" in str(crystal_alone)


def test_both_links_warm_together():
    """-46 kHz/K and +2.9 kHz/K against each other: the set-point is off by 49 kHz a kelvin."""
    oscillator, crystal = bench(scatter=0.0005, ageing=0.0)
    drift = drift_of_tables(oscillator=oscillator, crystal=crystal, lines=LINE)
    due = drift.due(5.0, temperature_swing_k=3.0)
    expected = 95 - 100 * float(light_lost(1.96 * 0.0489 * 3**0.5 / 0.3))
    assert 95 - due.first_day_percent == pytest.approx(expected, abs=0.05 * due.first_day_percent)


def test_promise_for_the_first_day_is_what_is_kept_there():
    drift = drift_of_tables(oscillator=bench()[0], lines=LINE)
    due = drift.due(1.0, corrected=True)
    just = drift.due(due.first_day_percent * 1.02, corrected=True)
    less = drift.due(due.first_day_percent * 0.98, corrected=True)
    assert just.date is not None
    assert less.date is None


def test_narrowest_line_is_the_first():
    drift = drift_of_tables(oscillator=bench()[0], lines={"wide": Passband(80.0, 0.5), "narrow": Passband(60.0, 0.25)})
    assert drift.due(5.0, corrected=True).line == "narrow"


def test_links_of_different_last_days_count_from_the_later():
    oscillator, crystal = bench()
    drift = drift_of_tables(oscillator=oscillator.iloc[:12], crystal=crystal, lines=LINE)
    due = drift.due(10.0, corrected=True)
    assert due.last == drift.crystal.history.dates[-1]


def test_says_what_is_missing_and_refuses_what_cannot_be_asked():
    oscillator, crystal = bench()
    drift = drift_of_tables(oscillator=oscillator, crystal=crystal.iloc[:1], lines=LINE)
    assert drift.crystal is None
    assert "Drift of the crystal: 1 record, it takes two" in str(drift)
    assert "1 record, it takes two" in drift._repr_html_()
    with pytest.raises(ReadingsError, match="when the crystal is due is not known; found 1 record, it takes two"):
        drift.due(link="crystal")
    with pytest.raises(AotfLabError, match="loss of light"):
        drift.due(0.0)
    with pytest.raises(AotfLabError, match=r"temperature_swing_k out of bounds; found -1;"):
        drift.due(temperature_swing_k=-1.0)
    with pytest.raises(AotfLabError, match="light lost without a passband"):
        drift_of_tables(oscillator=oscillator).due()
    with pytest.raises(ReadingsError, match="no drift from these records; found 1 of the oscillator, 0 of the crystal"):
        drift_of_tables(oscillator=oscillator.iloc[:1])
