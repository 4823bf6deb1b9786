"""Behaviour of the law of a warm-up on simulated logs with known constants, and what it refuses."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import LinearConstraint, minimize

from aotf_lab.driver.stability import fit_warm_up
from aotf_lab.driver.stability.exponentials import Terms, _allowed
from aotf_lab.driver.stability.warm_up_fit import _rivals
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from aotf_lab.estimation.causes import CommonError, new_cause
from aotf_lab.reading.readings import Readings


def log(seed=1, *, minutes=120, walk=4.7e-5, second=0.0, amplitude=0.36, per_k=-0.046, step=10.0):
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 60.0 * minutes, step)
    box = 22.0 + 0.3 * np.sin(t / 400.0) + 0.2 * t / 7200
    wander = np.cumsum(walk * step**0.5 * rng.standard_normal(len(t)))
    f = 64.0 + amplitude * np.exp(-t / 780.0) + second * np.exp(-t / 130.0) + per_k * (box - box.mean()) + wander
    return pd.DataFrame(
        {
            "time_s": t,
            "frequency_mhz": f + 0.004 * rng.standard_normal(len(t)),
            "temperature_c": box + 0.03 * rng.standard_normal(len(t)),
            "u_frequency_mhz": 0.004,
        }
    )


@pytest.fixture(scope="module")
def warm():
    return fit_warm_up(log(), started_s=0.0)


def test_constants_come_back(warm):
    for value, truth in (
        (warm.time_constant_s, 780.0),
        (warm.drift_mhz, 0.36),
        (warm.temperature_mhz_per_k, -0.046),
        (warm.slow_drift_mhz_per_h, 0.0),
    ):
        low, high = warm.fit.interval(value, 0.99)
        assert low < truth < high
    assert warm.time_constant_s.s < 40
    assert warm.fit.trusted, warm.fit.failed


def test_wander_makes_readings_worth_less(warm):
    white = fit_warm_up(log(walk=0.0))
    assert warm.worth < 300
    assert white.worth > warm.worth
    check = next(c for c in warm.fit.checks if c.name == "correlated noise")
    assert "720 readings are worth" in check.detail


def test_two_exponentials_are_told_and_said():
    w = fit_warm_up(log(second=0.1))
    assert len(w.shifts_mhz) == 2
    assert w.time_constants_s[0].n == pytest.approx(130.0, abs=4 * w.time_constants_s[0].s)
    assert "two exponentials" in next(c.detail for c in w.fit.checks if c.name == "number of exponentials")
    assert w.time_constants_s[0].n < w.time_constant_s.n


@pytest.mark.parametrize("minutes", [35, 50, 75])
def test_a_short_log_of_one_exponential_is_given_no_second(minutes):
    """Two that nearly cancel fit as well as one; what the readings tell of one is then lost: u of tens of MHz."""
    for seed in range(4):
        w = fit_warm_up(log(seed, minutes=minutes))
        assert len(w.shifts_mhz) == 1
        assert w.final_mhz.s < 0.36
        assert abs(w.drift_mhz.n - 0.36) < 3 * w.drift_mhz.s


def test_the_step_goes_to_the_least_within_the_bounds():
    """Against the quadratic program as scipy.optimize solves it (SLSQP)."""
    rng = np.random.default_rng(5)
    low, high, apart = np.log([15.0, 2000.0, 1.5])
    for _ in range(60):
        root = rng.normal(size=(2, 2)) * [1.0, 0.2]
        normal, pull = root.T @ root + 1e-3 * np.eye(2), rng.normal(size=2)
        here = np.sort(rng.uniform(low, high - apart, 2)) + np.array([0.0, apart])
        bounds = LinearConstraint(
            np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 1.0]]), [low, low, apart], [high, high, np.inf]
        )
        wanted = minimize(
            lambda x, n=normal, p=pull, h=here: (x - h) @ n @ (x - h) / 2 - p @ (x - h), here,
            jac=lambda x, n=normal, p=pull, h=here: n @ (x - h) - p, constraints=[bounds], method="SLSQP",
            options={"ftol": 1e-14, "maxiter": 300},
        ).x - here  # fmt: skip
        wanted /= max(1.0, np.abs(wanted).max())
        np.testing.assert_allclose(_allowed(here, normal, pull, low, high) - here, wanted, atol=1e-4)


def test_the_law_at_many_times_is_that_of_each(warm):
    """The uncertainties package takes the derivatives by itself."""
    times = np.linspace(*warm.range_s, 7)
    law, u = warm.law_mhz(times)
    each = warm.frequency_at(times)
    np.testing.assert_allclose(law, [f.n for f in each], rtol=1e-14)
    np.testing.assert_allclose(u, [(f - warm.final_mhz).s for f in each], rtol=1e-9)


@pytest.mark.parametrize(("minutes", "least", "most"), [(35, 22, 25), (120, 20, 22), (480, 18, 21)])
def test_a_second_exponential_is_taken_from_about_twenty_to_one(minutes, least, most):
    """The share of pairs that are in order and apart by random draws; the odds are 7.39 without that share."""
    rng = np.random.default_rng(3)
    rivals = _rivals(_terms_of(minutes))
    shortest, span = 15.0, 60.0 * minutes - 10.0
    ranges = np.log([span / shortest, span / 3.0 / shortest])
    pairs = rng.uniform(0.0, ranges[1], (1_000_000, 2))
    share = np.mean(pairs[:, 1] - pairs[:, 0] >= np.log(1.5))
    assert np.exp(rivals.limit) == pytest.approx(np.exp(2.0) * ranges[0] / ranges[1] / share, rel=0.01)
    assert least < np.exp(rivals.limit) < most
    detail = next(c.detail for c in fit_warm_up(log(minutes=minutes)).fit.checks if c.name == "number of exponentials")
    assert f"is taken from {np.exp(rivals.limit):.2g} times on" in detail


def _terms_of(minutes):
    table = log(minutes=minutes)
    time_s = table["time_s"].to_numpy()
    return Terms(time_s, table["frequency_mhz"].to_numpy(), np.stack([np.ones_like(time_s), time_s / 3600.0], axis=1))


def test_one_exponential_is_said(warm):
    assert len(warm.shifts_mhz) == 1
    detail = next(c.detail for c in warm.fit.checks if c.name == "number of exponentials")
    assert detail.startswith("one exponential: a second makes the readings")


def test_thermometer_noise_does_not_shrink_the_coefficient():
    found = [fit_warm_up(log(seed)).temperature_mhz_per_k for seed in range(2, 14)]
    assert np.mean([k.n for k in found]) == pytest.approx(-0.046, abs=0.0015)


def test_wait_is_an_upper_bound_near_what_is_needed(warm):
    needed = 780.0 * np.log(0.36 / 0.003)
    assert needed < warm.wait_s(0.01, 0.3) < 1.2 * needed
    assert warm.wait_s(0.05, 0.3) < warm.wait_s(0.02, 0.3) < warm.wait_s(0.01, 0.3)
    assert warm.wait_s(0.01, 0.3, 0.5) < warm.wait_s(0.01, 0.3, 0.99)
    assert warm.wait_s(0.9, 3.0) == warm.range_s[0]


def test_time_since_power_on(warm):
    later = fit_warm_up(log(), started_s=120.0)
    assert later.range_s[0] == 120.0
    assert later.drift_mhz.n == pytest.approx(warm.drift_mhz.n * np.exp(120.0 / warm.time_constant_s.n), rel=1e-6)
    assert later.wait_s(0.02, 0.3) == pytest.approx(warm.wait_s(0.02, 0.3) + 120.0, abs=5.0)
    assert "as stated" in next(c.detail for c in later.fit.checks if c.name == "start of the log")
    unknown = fit_warm_up(log())
    assert "not stated" in next(c.detail for c in unknown.fit.checks if c.name == "start of the log")


def test_law_keeps_its_correlation(warm):
    at_end = warm.frequency_at(warm.range_s[1])
    assert (at_end - warm.final_mhz - warm.remaining_mhz(warm.range_s[1])).s == pytest.approx(0.0, abs=1e-12)
    both = warm.frequency_at([600.0, 3600.0])
    assert (both[0] - both[1]).n == pytest.approx(0.36 * (np.exp(-600 / 780) - np.exp(-3600 / 780)), abs=0.02)


def test_counter_time_base_is_one_shared_error():
    cause = new_cause("counter time base", 1.5e-5)
    readings = Readings(log(), (CommonError("counter time base", "frequency_mhz", "relative", cause),))
    w = fit_warm_up(readings)
    assert w.final_mhz.error_components()[cause] == pytest.approx(64.0 * 1.5e-5, rel=1e-3)
    assert cause not in w.time_constant_s.error_components()


def test_stated_u_above_the_jitter_scales_up():
    table = log()
    wide = fit_warm_up(table.assign(u_frequency_mhz=0.008))
    found = fit_warm_up(table.drop(columns="u_frequency_mhz"))
    assert wide.time_constant_s.s == pytest.approx(2.0 * found.time_constant_s.s, rel=0.1)
    assert [c.name for c in found.fit.failed] == ["stated uncertainty"]


def test_single_wrong_counts_are_left_out_by_name():
    table = log()
    table.loc[300, "frequency_mhz"] *= 2
    table.loc[400, "frequency_mhz"] += 0.2
    w = fit_warm_up(table)
    assert len(w.log) == 718
    check = next(c for c in w.fit.failed if c.name == "single readings")
    assert "row 301, row 401" in check.detail


def test_slow_drift_is_named_and_no_wait_ends_it():
    table = log(walk=0.0)
    table["frequency_mhz"] += 0.03 * table["time_s"] / 3600
    w = fit_warm_up(table)
    assert w.slow_drift_mhz_per_h.n == pytest.approx(0.03, abs=4 * w.slow_drift_mhz_per_h.s)
    check = next(c for c in w.fit.failed if c.name == "slow drift")
    assert check.at_stake_mhz == pytest.approx(0.03, abs=0.01)
    assert w.wait_s(0.02, 0.3) < 4500.0


def test_hum_in_the_noise_is_noticed():
    table = log(walk=0.0)
    table["frequency_mhz"] += 0.006 * np.sin(2 * np.pi * np.arange(len(table)) / 2.7)
    assert "kind of noise" in [c.name for c in fit_warm_up(table).fit.failed]


def test_temperature_that_was_not_logged_or_stood_still():
    table = log()
    w = fit_warm_up(table.drop(columns="temperature_c"))
    assert w.temperature_mhz_per_k is None
    assert "not logged" in next(c.detail for c in w.fit.checks if c.name == "temperature")
    rng = np.random.default_rng(0)
    still = fit_warm_up(table.assign(temperature_c=22.0 + 0.03 * rng.standard_normal(len(table))))
    assert still.temperature_mhz_per_k is None
    assert "no more than noise" in next(c.detail for c in still.fit.checks if c.name == "temperature")


def test_a_box_that_warms_evenly_counts_as_slow_drift_not_as_a_coefficient():
    """Beside a straight line only the thermometer's noise would be left to make the coefficient: nearly nothing."""
    table = log(per_k=0.0)
    even = table["time_s"] / table["time_s"].iloc[-1]
    rng = np.random.default_rng(1)
    for noise_c in (0.0, 0.03):
        w = fit_warm_up(
            table.assign(
                frequency_mhz=table["frequency_mhz"] - 0.046 * even,
                temperature_c=22.0 + even + noise_c * rng.standard_normal(len(table)),
            )
        )
        assert w.temperature_mhz_per_k is None
        assert "counts as slow drift" in next(c.detail for c in w.fit.checks if c.name == "temperature")
        low, high = w.fit.interval(w.slow_drift_mhz_per_h, 0.99)
        assert low < -0.046 * 3600 / table["time_s"].iloc[-1] < high
        assert w.final_mhz.s < 0.02


def test_a_u_of_nothing_is_refused():
    for u in (0.0, -0.004):
        with pytest.raises(
            ReadingsError, match=r"u_frequency_mhz cannot be used; found -?0.*; allowed: a standard unc"
        ):
            fit_warm_up(log().assign(u_frequency_mhz=u))


def test_short_log_says_so_and_promises_nothing():
    w = fit_warm_up(log(minutes=25))
    assert "length of the log" in [c.name for c in w.fit.failed]
    with pytest.raises(ReadingsError, match=r"too short to promise.*kHz left at its end.*log longer"):
        w.wait_s(0.01, 0.3)


def test_warm_oscillator_is_refused():
    with pytest.raises(ReadingsError, match=r"no warm-up is to be seen.*kHz of it.*log from power-on"):
        fit_warm_up(log(amplitude=0.0))


def test_a_thermometer_that_takes_all_of_the_warm_up_is_named():
    """It stands beside the oscillator: what it shows rises as the frequency falls, so no exponential is left over."""
    table = log(per_k=0.0)
    rng = np.random.default_rng(4)
    wander = np.cumsum(0.006 * rng.standard_normal(len(table)))
    rise = 8.0 * (1.0 - np.exp(-table["time_s"] / 780.0)) + wander
    noise = 0.004 * rng.standard_normal(len(table))
    table = table.assign(temperature_c=22.0 + rise, frequency_mhz=64.36 - 0.045 * rise + noise)
    with pytest.raises(ReadingsError, match=r"no warm-up.*the thermometer follows it.*leave the column temperature_c"):
        fit_warm_up(table)
    w = fit_warm_up(table.drop(columns="temperature_c"))
    assert w.drift_mhz.n == pytest.approx(0.36, abs=0.08)
    with pytest.raises(ReadingsError, match=r"no warm-up.*; log from power-on"):
        fit_warm_up(table.assign(frequency_mhz=64.0 + noise))


def test_a_counter_that_stands_still_shows_no_warm_up():
    with pytest.raises(ReadingsError, match=r"no warm-up is to be seen.*; found 64\.000000 MHz in every row; allowed"):
        fit_warm_up(log().assign(frequency_mhz=64.0))


def test_outside_the_log(warm):
    with pytest.raises(OutOfRangeError, match=r"time since power-on.*8000 s.*0 to 7190 s"):
        warm.frequency_at(8000.0)
    with pytest.raises(AotfLabError, match=r"wander is not known.*9000 s.*0 to 7190 s"):
        warm.wander_mhz(9000.0)
    assert warm.wander_mhz(3600.0) == pytest.approx(60 * warm.walk_mhz)


def test_questions_without_meaning(warm):
    with pytest.raises(AotfLabError, match=r"share of the passband; found 1.5; allowed: between 0 and 1"):
        warm.wait_s(1.5, 0.3)
    with pytest.raises(AotfLabError, match=r"width of the passband \(MHz\); found -0.3; allowed: above zero"):
        warm.wait_s(0.1, -0.3)
    with pytest.raises(AotfLabError, match=r"confidence; found 1; allowed: 0.5 to below 1"):
        warm.wait_s(0.1, 0.3, 1.0)
    with pytest.raises(AotfLabError, match=r"power-on to the first reading \(s\); found -5; allowed: zero or more"):
        fit_warm_up(log(), started_s=-5)


def test_logs_that_are_refused():
    table = log()
    with pytest.raises(
        ReadingsError, match=r"too few readings for the law of a warm-up; found 20; allowed: at least 30"
    ):
        fit_warm_up(table.head(20))
    with pytest.raises(ReadingsError, match=r"no column 'time_s'"):
        fit_warm_up(table.drop(columns="time_s"))
    back = table.copy()
    back.loc[50, "time_s"] = 3.0
    with pytest.raises(ReadingsError, match=r"row 51: the time does not rise.*3 s after 490 s"):
        fit_warm_up(back)
    with pytest.raises(ReadingsError, match=r"row 8: frequency_mhz cannot be used; found -1;"):
        fit_warm_up(table.assign(frequency_mhz=table["frequency_mhz"].where(table.index != 7, -1.0)))
    moved = np.where(table.index < 700, 6.0, 6.5)
    with pytest.raises(ReadingsError, match=r"row 701: the drive voltage was not held; found 6.5 V, and 6 V"):
        fit_warm_up(table.assign(drive_v=moved))


def test_text_and_plot(warm):
    text = str(warm)
    assert "settled frequency" in text
    assert "kHz/K" in text
    assert warm._repr_html_().startswith("<pre>")
    ax = warm.plot()
    assert ax.get_xlabel() == "Time since power-on (min)"
    assert len(ax.get_lines()[0].get_xdata()) == 720
