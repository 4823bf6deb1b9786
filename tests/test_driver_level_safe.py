"""The safe supply: its bound, its refusals, and drives that it lets through. Invented benches of known truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from aotf_lab.driver.level import DriveLimits, average_w, fit_level, safe_supply, supply_for
from aotf_lab.errors import AotfLabError, OutOfRangeError, UnsafeDriveError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.planning import require_safe
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED
from tests.test_driver_level_fit import both_runs

QUIET = {"crystal_return_loss_db": 80.0, "source_return_loss_db": 80.0}
"""Reflections too small to count."""


def bench(u_gain=0.03, *more):
    gain = CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", u_gain), 2.0)
    return fit_level(both_runs(np.random.default_rng(1), common=((gain, *more), (gain, *more))))


@pytest.fixture(scope="module")
def level():
    return bench()


def test_the_bound_is_the_limit_and_the_power_lies_below_it_by_the_scale(level):
    safe = safe_supply(level, 0.5, **QUIET)
    rise_w = level.rf_power(safe.supply_v + 0.01, safe.at_mhz).n - level.rf_power(safe.supply_v, safe.at_mhz).n
    assert 0.5 - 1.2 * rise_w < safe.bound_w <= 0.5  # one step of 10 mV more would be too much
    # 6 % of scale alone would give 1 + 1.96 * 0.06; curve and scatter widen it a little, never narrow it
    ratio = safe.bound_w / safe.rf_power_w.n
    assert 1 + stats.norm.ppf(0.975) * 0.06 - 0.004 < ratio < 1 + stats.norm.ppf(0.975) * 0.075
    require_safe(level.rf_power(safe.supply_v, safe.at_mhz), 0.5, "hottest")


def test_every_frequency_of_the_band_is_below(level):
    safe = safe_supply(level, 0.5, **QUIET)
    grid = np.linspace(44.0, 96.0, 53)
    for power in level.rf_power(safe.supply_v, grid):
        require_safe(power, 0.5, "band")
    assert safe.at_mhz == level.hottest_mhz(safe.supply_v)


def test_the_bound_is_the_point_of_the_largest_power_by_other_draws(level):
    # 20,000 draws of the causes with the package's correlations but other random numbers, through ufloats
    safe = safe_supply(level, 0.5, **QUIET)
    grid = np.linspace(44.0, 96.0, 40)
    powers = level.rf_power(safe.supply_v, grid)
    causes = list({c: None for p in powers for c in p.derivatives})
    moves = np.array([[p.derivatives.get(c, 0.0) * c.s for c in causes] for p in powers])
    draws = np.random.default_rng(77).standard_normal((len(causes), 20_000))
    largest = np.max(np.array([p.n for p in powers])[:, None] + moves @ draws, axis=0)
    assert np.quantile(largest, 0.975) == pytest.approx(safe.bound_w, rel=0.006)


def test_above_the_knee_the_worse_way_to_give_way_counts():
    # gives way at one drive: the ripple over the band stays whole, however far the supply's curve has bent
    def law(v, f):
        drive = 0.0125 * (v - 3.0) ** 2
        return drive / (1 + (drive / 0.35) ** 4) ** 0.25 * 10 ** (0.06 * np.sin(f / 3.0))

    level = fit_level(both_runs(law=law))
    f = np.array([80.1])
    middle, worse = (float(power(np.array([11.0]), f)[0]) for power in (level.nominal_w, level.hotter_w))
    assert middle < 0.99 * law(11.0, 80.1)
    assert worse == pytest.approx(law(11.0, 80.1), rel=0.01)  # the u of a reading
    assert law(safe_supply(level, 0.38, **QUIET).supply_v, np.linspace(44.0, 96.0, 521)).max() < 0.38


def test_more_confidence_or_less_knowledge_lowers_the_supply(level):
    middle = safe_supply(level, 0.5, **QUIET).supply_v
    assert safe_supply(level, 0.5, 0.9, **QUIET).supply_v > middle > safe_supply(level, 0.5, 0.999, **QUIET).supply_v
    assert safe_supply(bench(0.06), 0.5, **QUIET).supply_v < middle


def test_mismatch_is_taken_at_its_worst(level):
    # forward power at a crystal of 10 dB on an amplifier of 10 dB: up to 1 / (1 - 0.1)^2 of that in a matched load
    plain, wide = safe_supply(level, 0.5, **QUIET), safe_supply(level, 0.5)
    term = next(t for t in wide.terms if t.name == "mismatch of the crystal")
    assert term.factor == pytest.approx(1 / 0.9**2)
    assert "(assumed)" in term.words
    assert wide.rf_power_w.n * 1 / 0.9**2 == pytest.approx(plain.rf_power_w.n, rel=5e-3)
    stated = safe_supply(level, 0.5, crystal_return_loss_db=10.0, source_return_loss_db=10.0)
    assert "(assumed)" not in str(stated)


def test_mismatch_of_the_readings_is_taken_at_its_worst_and_once():
    u = 2**0.5 * 0.1 * 0.3
    error = CommonError("mismatch", "rf_power_w", "relative", new_cause("mismatch", u))
    safe = safe_supply(bench(0.03, error), 0.5, **QUIET)
    term = next(t for t in safe.terms if t.name == "mismatch of the load")
    assert term.factor == pytest.approx((1 + 0.1 * 0.3) ** 2)
    readings = next(t for t in safe.terms if t.name == "readings")
    assert readings.factor == pytest.approx(safe_supply(bench(), 0.5, **QUIET).terms[0].factor, rel=0.01)


def test_a_narrower_band_may_allow_more(level):
    everything, quiet = safe_supply(level, 0.4, **QUIET), safe_supply(level, 0.4, band_mhz=(68.0, 73.0), **QUIET)
    assert quiet.supply_v > everything.supply_v
    assert 68.0 <= quiet.at_mhz <= 73.0


def test_a_limit_that_no_supply_reaches_stops_at_the_highest_measured(level):
    safe = safe_supply(level, 50.0)
    assert safe.supply_v == level.range_v[1]
    assert safe.held_by == "the highest supply measured"
    assert safe.bound_w < 50.0


def test_a_limit_below_everything(level):
    with pytest.raises(UnsafeDriveError, match=r"no measured supply keeps .* found up to 0.01.* W at 4 V, .* 0.001 W"):
        safe_supply(level, 0.001)


def test_a_scale_that_is_not_known_is_never_safe():
    error = CommonError(POWER_SCALE_UNSTATED, "rf_power_w", "relative", new_cause(POWER_SCALE_UNSTATED, 1.0))
    with pytest.raises(UnsafeDriveError, match=r"no supply can be called safe: .*found pad or probe not stated"):
        safe_supply(bench(0.03, error), 0.5)


@pytest.mark.parametrize("confidence", [0.4, 1.0])
def test_an_impossible_confidence(level, confidence):
    with pytest.raises(
        AotfLabError, match=rf"confidence of a safe drive; found {confidence:g}; allowed: 0.5 to below 1"
    ):
        safe_supply(level, 0.5, confidence)


def test_a_band_beyond_the_readings(level):
    with pytest.raises(OutOfRangeError, match=r"frequency lies outside the measured range; found 30 MHz"):
        safe_supply(level, 0.5, band_mhz=(30.0, 60.0))


def test_drives_up_to_the_safe_supply_are_given_and_none_above(level):
    safe = safe_supply(level, 0.5, **QUIET)
    assert supply_for(level, 0.2, 70.0, safe).n == pytest.approx(level.supply(0.2, 70.0).n)
    with pytest.raises(
        UnsafeDriveError, match=r"0.6 W at 61 MHz needs a supply above the safe one; found .* V; allowed"
    ):
        supply_for(level, 0.6, 61.0, safe)
    with pytest.raises(OutOfRangeError, match=r"RF power at 61 MHz lies outside the measured range; found 9 W"):
        supply_for(level, 9.0, 61.0, safe)


def test_scatter_that_was_scaled_up_costs_supply():
    parts = both_runs(np.random.default_rng(1))
    rough = [replace(p, table=p.table.assign(u_rf_power_w=0.2 * p.table["u_rf_power_w"])) for p in parts]
    scaled = fit_level(rough)
    assert scaled.fit.birge > 1
    assert safe_supply(scaled, 0.5, **QUIET).supply_v < level_supply_with_exact_scale()


def level_supply_with_exact_scale():
    """The supply that would just meet the limit if nothing were uncertain."""
    level = fit_level(both_runs())
    grid = np.linspace(4.0, 11.0, 701)
    tops = [float(level.nominal_w(np.full(53, v), np.linspace(44.0, 96.0, 53)).max()) for v in grid]
    return float(np.interp(0.5, tops, grid))


def test_a_pulse_gets_no_more_than_a_continuous_drive_unless_the_papers_say_so(level):
    # average = duty x peak (definition)
    assert average_w(0.8, 0.25) == pytest.approx(0.2)
    full = safe_supply(level, 0.4, **QUIET).supply_v
    assert safe_supply(level, DriveLimits(0.4), duty=0.25, **QUIET).supply_v == full
    assert safe_supply(level, DriveLimits(0.4, peak_w=0.6), duty=0.25, **QUIET).limit_w == pytest.approx(0.6)
    assert safe_supply(level, DriveLimits(0.4, peak_w=0.6), duty=0.8, **QUIET).limit_w == pytest.approx(0.5)
    assert safe_supply(level, DriveLimits(0.4, peak_w=0.3), **QUIET).limit_w == pytest.approx(0.3)


@pytest.mark.parametrize("duty", [0.0, 1.2])
def test_an_impossible_duty_cycle(level, duty):
    with pytest.raises(AotfLabError, match=rf"duty cycle; found {duty:g}; allowed: above 0, to 1"):
        safe_supply(level, 0.4, duty=duty)


@pytest.mark.parametrize(
    ("make", "name"), [(lambda: DriveLimits(0.0), "average"), (lambda: DriveLimits(1, -1), "peak")]
)
def test_impossible_limits(make, name):
    with pytest.raises(AotfLabError, match=rf"limit of the {name} RF power; found .*; allowed: above 0 W"):
        make()


def test_the_text_says_what_stands_between_power_and_bound(level):
    safe = safe_supply(level, 0.5)
    text = str(safe)
    assert f"{safe.supply_v:.2f} V" in text
    assert "97.5 % confidence" in text
    assert "mismatch of the crystal" in text
    assert next(iter(safe.budget)) == "scope gain"
    assert safe._repr_html_().startswith("<pre>")
