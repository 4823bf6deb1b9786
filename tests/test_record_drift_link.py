"""Temperature and ageing of one link: told apart, left out where they cannot be told, and what makes them wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.record.drift.between import fit_scattered
from aotf_lab.record.drift.history import history_of, history_of_table
from aotf_lab.record.drift.link import fit_link_drift
from tests.conftest import flat

START = date(2031, 3, 2)


def made(days, temperature_c, f, u=0.003, link="oscillator"):
    dates = [str(START + timedelta(days=int(d))) for d in days]
    return history_of(link, dates, temperature_c, np.asarray(f, dtype=float), np.eye(len(days)) * u**2)


def seasons(count, seed=1, span=700):
    rng = np.random.default_rng(seed)
    days = np.round(np.linspace(0, span, count))
    return days, 21 + 3 * np.sin(days / 58.0) + rng.normal(0, 0.7, count), rng


def test_temperature_and_ageing_are_those_of_least_squares():
    """Without stated errors and wander: scipy's regression on what the other column leaves (Frisch and Waugh)."""
    days, t, rng = seasons(14)
    f = 66 - 0.046 * (t - 22) + 3e-5 * days + rng.normal(0, 0.008, 14)
    found = fit_link_drift(made(days, t, f, u=1e-7))
    white = replace(found, found=fit_scattered(found.columns, found.history.shift, found.history.covariance))
    x = np.column_stack([np.ones(14), t, days])
    left = f - x @ np.linalg.lstsq(x, f, rcond=None)[0]
    for term, own, other in (("per_k", t, days), ("per_day", days, t)):
        rest = own - np.polyval(np.polyfit(other, own, 1), other)
        slope, u = stats.linregress(rest, f).slope, (left @ left / 11 / (rest @ rest)) ** 0.5
        half = stats.t.ppf(0.975, 11) * u
        assert white.interval(term) == pytest.approx((slope - half, slope + half), abs=0.01 * u)
        low, high = found.interval(term)
        assert low < slope < high
        assert high - low > 1.9 * half  # wander is allowed for
    low, high = found.scatter[1:]
    assert low < 0.008 < high


def test_numbers_are_correlated_and_the_same_each_time():
    days, t, rng = seasons(12)
    found = fit_link_drift(made(days, t, rng.normal(0, 0.01, 12)))
    assert (found.per_k - found.numbers["per_k"]).s == 0
    c = found.found.covariance[found.found.likeliest]
    forecast = found.numbers["offset"] + 100 * found.numbers["per_day"]
    at = found.at(0.0, 100.0)
    assert forecast.s == pytest.approx(found.found.u_of(at), rel=0.05)
    assert forecast.s != pytest.approx((c[0, 0] + 1e4 * c[2, 2]) ** 0.5, rel=0.05)


def test_two_records_say_what_is_not_yet_known():
    found = fit_link_drift(made([0, 120], [22.0, 19.5], [66.0, 66.115]))
    assert found.terms == ("offset",)
    assert found.per_k is None
    assert found.per_day is None
    with pytest.raises(
        AotfLabError, match="no such term in the drift of the oscillator; found 'per_k'; allowed: offset"
    ):
        found.interval("per_k")
    text = str(found)
    assert "change since 2031-03-02  +115.0(4.2) kHz at -2.5 K\n" in text
    assert "temperature              not yet known" in text
    assert "it takes 4 records on 3 days, or a coefficient measured within one day" in flat(found)
    assert "wander in it             not yet known" in text
    assert "ageing of the oscillator not told from scatter" in flat(found)


def test_a_coefficient_measured_in_a_day_explains_the_change():
    found = fit_link_drift(made([0, 120], [22.0, 19.5], [66.0, 66.115]), known_per_k=(-0.046, 0.001))
    assert found.terms == ("offset", "per_k")
    assert "change since 2031-03-02  +115.0(4.2) kHz at -2.5 K, by temperature +115.0(2.4)" in str(found)
    assert found.corrected == pytest.approx([0.0, 0.0], abs=1e-4)
    assert "by temperature" in found._repr_html_()


@pytest.mark.parametrize(
    ("days", "t", "known", "terms"),
    [
        ([0, 50, 90], [20, 23, 21], None, ("offset",)),
        ([0, 50, 90], [20, 23, 21], (-0.05, 0.001), ("offset", "per_k", "per_day")),
        ([0, 50, 90, 200], [20, 23, 21, 24], None, ("offset", "per_k", "per_day")),
        ([0, 0, 50, 50], [20, 23, 21, 24], None, ("offset", "per_k")),
        ([0, 50, 90, 200], [21, 21, 21, 21], None, ("offset", "per_day")),
        ([0, 50, 90, 200], [20, np.nan, 21, 24], None, ("offset", "per_day")),
        ([0, 50, 100, 200], [20, 21, 22, 24], None, ("offset",)),
        ([0, 50, 100, 200], [20, 21, 22, 24], (-0.05, 0.001), ("offset", "per_k", "per_day")),
    ],
)
def test_terms_that_the_records_can_tell(days, t, known, terms):
    f = 66 - 0.05 * (np.nan_to_num(t, nan=21.0) - 21) + 0.002 * np.arange(len(days)) ** 2
    found = fit_link_drift(made(days, np.array(t, dtype=float), f), known_per_k=known)
    assert found.terms == terms
    assert len(found.unknown) == 3 - len(terms)


def test_words_of_what_is_unknown():
    f = [66.0, 66.01, 66.0, 66.02]
    blank = fit_link_drift(made([0, 50, 90, 200], [20, np.nan, 21, 24], f))
    assert "temperature of the oscillator not told: not noted with the records of 2031-04-21" in str(blank)
    steps = fit_link_drift(made([0, 50, 100, 200], [20.0, 21.0, 22.0, 24.0], f))
    assert "it went in step with the days" in str(steps)
    same = fit_link_drift(made([0, 50, 90, 200], [21.0] * 4, f))
    assert "all records were taken at the same one" in str(same)


def test_what_all_records_share_is_taken_out():
    """One counter for all: a time base of 20 ppm is 1.3 kHz at 66 MHz, and no part of a drift."""
    days, t, rng = seasons(8)
    f = 66 - 0.046 * (t - 22) + rng.normal(0, 0.005, 8)
    own = np.eye(8) * 0.003**2
    with_base = history_of("oscillator", made(days, t, f).dates, t, f, own + (20e-6 * 66) ** 2)
    assert with_base.covariance == pytest.approx(own, abs=1e-12)
    assert fit_link_drift(with_base).interval("per_k") == pytest.approx(
        fit_link_drift(made(days, t, f)).interval("per_k")
    )
    half = own.copy()
    half[:4, :4] += (20e-6 * 66) ** 2  # the second half by another counter
    assert history_of("oscillator", made(days, t, f).dates, t, f, half).covariance == pytest.approx(half)


def test_days_and_temperature_that_go_together_are_named():
    rng = np.random.default_rng(2)
    days = np.arange(0, 160, 20.0)
    t = 18 + days / 25 + rng.normal(0, 0.2, 8)
    found = fit_link_drift(made(days, t, 66 - 0.046 * t + rng.normal(0, 0.004, 8)))
    failed = {c.name: c.detail for c in found.failed}
    assert "take a record in the other season" in failed["told apart"]
    assert "FAILED told apart" in str(found)


def test_noise_of_the_thermometer_is_named_where_it_pulls():
    """The pull is u^2 / (variance of the true temperatures), by simulation (attenuation: W. A. Fuller, Measurement
    Error Models (1987), 1.1.1; from memory)."""
    rng, slopes = np.random.default_rng(3), []
    for _ in range(400):
        days = np.arange(40.0)
        true = 21 + rng.normal(0, 1.0, 40)
        seen = true + rng.normal(0, 0.4, 40)
        found = fit_link_drift(made(days, seen, -0.046 * true + rng.normal(0, 0.002, 40)), u_temperature_k=0.4)
        slopes.append(found.per_k.n)
    pull = 1 - np.mean(slopes) / -0.046
    check = next(c for c in found.checks if c.name == "thermometer")
    assert not check.passed
    assert pull == pytest.approx(0.16 / 1.16, abs=0.02)
    assert "the coefficient is pulled to zero by 1" in check.detail
    assert "steadier thermometer" in check.detail


def test_records_that_contradict_the_known_coefficient_are_named():
    days, t, rng = seasons(12)
    f = 66 - 0.046 * (t - 22) + rng.normal(0, 0.004, 12)
    good = fit_link_drift(made(days, t, f), known_per_k=(-0.046, 0.001))
    assert not good.failed
    bad = fit_link_drift(made(days, t, f), known_per_k=(-0.030, 0.001))
    assert "-30 +- 1 kHz/K measured within a day" in bad.failed[0].detail


def test_wander_is_told_from_scatter_and_leaves_the_ageing_less_sure():
    """40 records tell them apart only roughly: over 16 histories of each kind, not in every one."""
    shares, sure = {True: [], False: []}, {True: [], False: []}
    for seed in range(16):
        days, t, rng = seasons(40, seed)
        steps = rng.normal(0, 0.02, 40)
        for walks, rest in ((True, np.cumsum(steps)), (False, steps)):
            found = fit_link_drift(made(days, t, 66 - 0.046 * t + rest))
            shares[walks].append(found.found.wander_share)
            sure[walks].append(found.per_day.s)
    assert np.mean(shares[False]) < 0.1 < 0.25 < np.mean(shares[True])
    assert np.median(sure[True]) > 3 * np.median(sure[False])
    assert f"wander in it             {100 * shares[False][-1]:.0f} % of its variance" in str(found)


def test_chart_shows_what_is_left_after_the_temperature():
    days, t, rng = seasons(24)
    f = 66 - 0.046 * (t - 22) + rng.normal(0, 0.003, 24)
    f[23] += 0.060
    found = fit_link_drift(made(days, t, f), known_per_k=(-0.046, 0.0005))
    chart = found.chart(baseline=20)
    assert chart.beyond == (found.history.dates[23],)
    assert chart.unit == "kHz"
    assert np.ptp(chart.values[:20]) < 20 < 1e3 * np.ptp(f[:20])


def test_crystal_is_relative_and_its_line_does_not_matter():
    days, t, _ = seasons(6)
    rows = {"date": [START + timedelta(days=int(d)) for d in days], "temperature_c": t}
    per_k = []
    for peak in (64.0, 80.0):
        f = peak * (1 + 4.6e-5 * (t - 22))
        table = pd.DataFrame({**rows, "frequency_mhz": f, "u_frequency_mhz": 1e-5 * peak})
        per_k.append(fit_link_drift(history_of_table(table, "crystal")).per_k)
    assert per_k[0].n == pytest.approx(per_k[1].n, rel=1e-3) == pytest.approx(4.6e-5, rel=1e-3)
    assert per_k[0].s == pytest.approx(per_k[1].s, rel=1e-2)


def test_refuses_what_is_no_history():
    with pytest.raises(ReadingsError, match="no drift of the crystal from so few records; found 1"):
        made([0], [21.0], [1.0], link="crystal")
    with pytest.raises(ReadingsError, match="lists do not pair up; found 2 dates, 3 temperatures, 2 values"):
        made([0, 1], [21.0, 22.0, 23.0], [1.0, 2.0])
    with pytest.raises(ReadingsError, match="record of 2031-03-03; found nan"):
        made([0, 1], [21.0, 22.0], [1.0, np.nan])
    table = pd.DataFrame({"date": ["2031-03-02"], "frequency_mhz": [66.0]})
    with pytest.raises(ReadingsError, match=r"a column of the history is missing.*add temperature_c, u_frequency_mhz"):
        history_of_table(table, "oscillator")
