"""Two logs on two clocks: which rows come together, by what offset, and when that is refused.

References: ``numpy.correlate`` for the lag of the largest sum of products; a first-order lag delays a ramp by its
time constant (linear systems, any textbook); Lin's coefficient by its definition (Biometrics 45 (1989) 255).
"""

import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.causes import CommonError, new_cause
from aotf_lab.reading.clock.joined import join_logs
from aotf_lab.reading.clock.offset import _coefficient, estimate_offset
from aotf_lab.reading.clock.pairs import nearest_pairs
from aotf_lab.reading.clock.tracks import Comparison, Track, lagged
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.source import SourceFile


def log(name, **columns):
    table = pd.DataFrame(columns)
    table["file"], table["line"] = name, np.arange(2, 2 + len(table))
    return Readings(table, (), (Receipt(name, len(table), ()),), (SourceFile(name, "0" * 64, 1),))


def scan(offset_s=3.21, seed=3, lag_s=0.0, dwell=(1.0, 3.0), steps=41):
    """A generator's log of steps, and a power log sampled every 0.25 s on a clock that is ``offset_s`` behind."""
    rng = np.random.default_rng(seed)
    f = np.linspace(63.3, 64.8, steps)
    set_s = 5.4321 + np.concatenate([[0], np.cumsum(rng.uniform(*dwell, steps - 1))])
    fine_s = np.arange(0, set_s[-1] + 5, 0.005)
    f_now = f[np.clip(np.searchsorted(set_s, fine_s, side="right") - 1, 0, None)]
    power = lagged(np.sinc(0.886 * (f_now - 64.05) / 0.3) ** 2, 0.005, lag_s)
    sampled_s = np.arange(0.0137, set_s[-1] + 4, 0.25)
    seen = np.interp(sampled_s, fine_s, power) + 0.002 * rng.standard_normal(len(sampled_s))
    first = log("steps.csv", time_s=set_s, frequency_mhz=f)
    second = log("power.csv", time_s=sampled_s - offset_s, optical_power_mw=seen)
    return first, second


def test_rows_by_a_stated_offset():
    first = log("a.csv", time_s=[0.0, 1.0, 2.0, 9.0], frequency_mhz=[60.0, 61.0, 62.0, 63.0])
    second = log("b.csv", time_s=[10.05, 10.9, 11.98, 13.0], optical_power_mw=[1.0, 2.0, 3.0, 4.0])
    joined = join_logs(first, second, tolerance_s=0.2, offset_s=-10.0)
    assert joined.readings.table["optical_power_mw"].tolist() == [1.0, 2.0, 3.0]
    assert joined.readings.table["frequency_mhz"].tolist() == [60.0, 61.0, 62.0]
    assert joined.readings.table["second_line"].tolist() == [2, 3, 4]
    assert joined.readings.table["second_time_s"].tolist() == pytest.approx([0.05, 0.9, 1.98])
    assert joined.unmatched_first == ("a.csv:5",)
    assert joined.unmatched_second == ("b.csv:5",)
    assert joined.offset_s == -10.0
    assert "1 rows of the first log without a partner: a.csv:5" in str(joined)
    assert joined.readings.place(1) == "a.csv:3"


def test_errors_receipts_and_sources_of_both_are_kept():
    base, gain = new_cause("counter time base", 2e-6), new_cause("power meter gain", 0.05)
    first = log("a.csv", time_s=[0.0, 1.0], frequency_mhz=[60.0, 61.0])
    first = replace(first, common=(CommonError("counter time base", "frequency_mhz", "relative", base),))
    second = log(
        "b.csv", time_s=[0.0, 1.0], optical_power_mw=[1.0, 2.0], frequency_mhz=[7.0, 8.0], u_frequency_mhz=[1, 1]
    )
    second = replace(second, common=(
        CommonError("power meter gain", "optical_power_mw", "relative", gain),
        CommonError("other counter", "frequency_mhz", "relative", new_cause("other counter", 1e-5)),
    ))  # fmt: skip
    readings = join_logs(first, second, tolerance_s=0.1, offset_s=0.0).readings
    assert readings.table["frequency_mhz"].tolist() == [60.0, 61.0]
    assert "u_frequency_mhz" not in readings.table.columns
    assert [e.name for e in readings.common] == ["counter time base", "power meter gain"]
    assert [r.file for r in readings.receipts] == ["a.csv", "b.csv"]
    assert [s.name for s in readings.sources] == ["a.csv", "b.csv"]
    assert "2 rows joined within 0.1 s" in readings.receipts[-1].notes[-1]


def test_offset_from_activity():
    first, second = scan()
    joined = join_logs(first, second, tolerance_s=0.12)
    assert joined.offset_s.n == pytest.approx(3.21, abs=3 * joined.offset_s.s)
    assert 0.003 < joined.offset_s.s < 0.08
    assert "cross-correlation of the activity of frequency_mhz and optical_power_mw" in joined.how
    assert "rows of frequency_mhz taken as settings" in joined.how
    assert len(joined.readings.table) + len(joined.unmatched_first) == 41
    assert len(joined.unmatched_first) <= 4


def test_exchanged_logs_give_the_opposite_offset():
    first, second = scan()
    one, other = (join_logs(a, b, tolerance_s=0.12).offset_s for a, b in ((first, second), (second, first)))
    assert other.n == pytest.approx(-one.n, abs=1e-9)
    assert {t.tag for t in one.error_components()} == {"scatter of the correlation of two logs"}


def test_best_lag_is_that_of_numpy():
    rng = np.random.default_rng(0)
    values = np.cumsum(rng.standard_normal(400))
    one = Track("frequency_mhz", np.arange(400.0), values)
    two = Track("frequency_mhz", np.arange(300.0) + 0.0, values[57:357])
    sums = np.correlate(values - values.mean(), two.values - values.mean(), mode="valid")
    found = estimate_offset(Comparison(one, two, "level"))
    assert found.offset_s == pytest.approx(float(np.argmax(sums)), abs=0.01)
    assert found.offset_s == pytest.approx(57.0, abs=0.01)


def test_coefficients_against_their_definitions():
    rng = np.random.default_rng(1)
    x, y = rng.standard_normal((2, 50))
    y = x + 0.3 * y + 0.2
    sums = np.array([50, x.sum(), y.sum(), (x * x).sum(), (y * y).sum(), (x * y).sum()])
    lin = 2 * np.cov(x, y, bias=True)[0, 1] / (x.var() + y.var() + (x.mean() - y.mean()) ** 2)
    assert float(_coefficient(sums, True)) == pytest.approx(lin)
    assert float(_coefficient(sums, False)) == pytest.approx(np.corrcoef(x, y)[0, 1])


def test_lag_of_first_order_delays_a_ramp_by_itself():
    delayed = lagged(np.arange(400.0), 0.05, 0.9)
    assert np.arange(400.0)[-1] - delayed[-1] == pytest.approx(0.9 / 0.05, rel=1e-6)
    assert lagged(np.ones(5), 0.05, 0.9).tolist() == [1.0] * 5


def test_a_lag_that_is_not_stated_shifts_one_quantity_by_itself():
    """One quantity in both logs, a steady ramp: the lagged clock looks late by the lag, and not when it is stated."""
    time_s = np.arange(0, 120, 0.5) + 0.0137
    first = log("a.csv", time_s=time_s, frequency_mhz=60 + 0.05 * time_s)
    fine_s = np.arange(0, 130, 0.01)
    second = log("b.csv", time_s=time_s, frequency_mhz=np.interp(time_s, fine_s, lagged(60 + 0.05 * fine_s, 0.01, 0.9)))
    assert join_logs(first, second, tolerance_s=0.2).offset_s.n == pytest.approx(-0.9, abs=0.03)
    assert join_logs(first, second, tolerance_s=0.2, lag_s=0.9).offset_s.n == pytest.approx(0.0, abs=0.03)


def test_a_lag_in_activity_shifts_by_part_of_it():
    first, second = scan(lag_s=0.9)
    plain = join_logs(first, second, tolerance_s=0.12)
    stated = join_logs(first, second, tolerance_s=0.12, lag_s=0.9)
    assert -0.45 < plain.offset_s.n - 3.21 < -0.15
    assert "no lag of a meter stated" in plain.how
    assert stated.offset_s.n == pytest.approx(3.21, abs=3 * stated.offset_s.s)


def test_equal_dwell_is_ambiguous_unless_bounded():
    first, second = scan(offset_s=0.31, dwell=(2.0, 2.0))
    with pytest.raises(ReadingsError, match=r"ambiguous: offsets of .* s and .* s fit about as well.*state offset_s"):
        join_logs(first, second, tolerance_s=0.12)
    bounded = join_logs(first, second, tolerance_s=0.12, max_offset_s=0.9)
    assert bounded.offset_s.n == pytest.approx(0.31, abs=0.1)


def test_a_bound_that_leaves_the_peak_out():
    first, second = scan(offset_s=3.21)
    with pytest.raises(
        ReadingsError, match="no peak of the correlation within what was searched; found largest at its end"
    ):
        join_logs(first, second, tolerance_s=0.12, max_offset_s=3.1)


def test_absolute_starts_give_the_first_guess():
    first, second = scan()
    start = datetime(2026, 3, 29, 14, 0, tzinfo=UTC)

    def started(readings, moment):
        zero = readings.table["time_s"].iloc[0]
        table = readings.table.assign(time_s=readings.table["time_s"] - zero)
        receipt = replace(readings.receipts[0], start=moment + timedelta(seconds=float(zero)))
        return replace(readings, table=table, receipts=(receipt,))

    joined = join_logs(started(first, start), started(second, start), tolerance_s=0.12, max_offset_s=5)
    assert joined.offset_s.n == pytest.approx(3.21, abs=3 * joined.offset_s.s)
    assert "starts as both files state them" in joined.how
    with pytest.raises(ReadingsError, match="no row of the two logs within the tolerance"):
        join_logs(started(first, start), started(second, start + timedelta(hours=1)), tolerance_s=0.12, offset_s=0.0)


def test_coarse_stamps_widen_u():
    first, second = scan()
    coarse = replace(second, table=second.table.assign(time_s=np.floor(second.table["time_s"] / 0.1) * 0.1))
    joined = join_logs(first, coarse, tolerance_s=0.09)
    assert joined.offset_s.s >= 0.05
    assert "stamps of the second log are whole 0.1 s" in joined.how


@pytest.mark.parametrize("tolerance_s", [0.13, 2.0, 0.0, -1.0, float("nan")])
def test_tolerance_that_could_take_the_wrong_row(tolerance_s):
    first, second = scan()
    with pytest.raises(ReadingsError, match=r"power\.csv: .*tolerance.*up to 0\.125 s"):
        join_logs(first, second, tolerance_s=tolerance_s, offset_s=3.21)


def test_logs_without_overlap():
    first, second = scan()
    with pytest.raises(ReadingsError, match=r"steps\.csv and power\.csv: no row of the two logs"):
        join_logs(first, second, tolerance_s=0.12, offset_s=1e4)


def test_nothing_in_common():
    first = log("a.csv", time_s=np.arange(9.0), temperature_c=np.full(9, 20.0))
    second = log("b.csv", time_s=np.arange(9.0), optical_power_mw=np.arange(9.0))
    with pytest.raises(ReadingsError, match="no quantity of the two logs"):
        join_logs(first, second, tolerance_s=0.1)


def test_no_time_at_all():
    with pytest.raises(ReadingsError, match="no column 'time_s'"):
        join_logs(log("a.csv", frequency_mhz=[1.0]), log("b.csv", time_s=[1.0]), tolerance_s=0.1)


def test_noise_has_no_offset():
    rng = np.random.default_rng(5)
    first = log("a.csv", time_s=np.cumsum(rng.uniform(1, 3, 60)), frequency_mhz=rng.standard_normal(60))
    second = log("b.csv", time_s=np.arange(0.01, 120, 0.25), optical_power_mw=rng.standard_normal(480))
    with pytest.raises(ReadingsError, match="ambiguous: offsets"):
        join_logs(first, second, tolerance_s=0.12)


TIMES = st.lists(st.floats(0, 100, allow_nan=False), min_size=1, max_size=30)


@settings(max_examples=300, deadline=None)
@given(TIMES, TIMES, st.floats(0.01, 5))
def test_pairs_are_one_to_one_and_near(first_s, second_s, tolerance_s):
    a, b = np.array(first_s), np.array(second_s)
    rows, partners = nearest_pairs(a, b, tolerance_s)
    assert len(set(rows)) == len(rows) == len(set(partners))
    assert np.all(np.abs(a[rows] - b[partners]) <= tolerance_s + 1e-8)
    alone_a, alone_b = np.delete(a, rows), np.delete(b, partners)
    if len(alone_a) and len(alone_b):
        assert np.min(np.abs(alone_a[:, None] - alone_b[None, :])) > tolerance_s


def test_a_row_without_a_time_stays_alone():
    rows, partners = nearest_pairs(np.array([0.0, np.nan, 2.0]), np.array([np.nan, 2.0]), 0.5)
    assert (rows.tolist(), partners.tolist()) == ([2], [1])


def test_no_warning_where_the_signals_are_without_noise():
    f = np.repeat(np.linspace(60, 61, 20), 1)
    time_s = np.cumsum(np.linspace(1.01, 2.97, 20))
    first = log("a.csv", time_s=time_s, frequency_mhz=f)
    second = log("b.csv", time_s=time_s - 2.5, frequency_mhz=f)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert join_logs(first, second, tolerance_s=0.2).offset_s.n == pytest.approx(2.5, abs=0.01)
