"""Time that jumps: summer time against the time-zone database, midnight, restarts, backward steps.

Sources: Directive 2000/84/EC, articles 2 and 3 (last Sundays of March and October, 1 h UTC); the tz database
through ``zoneinfo``, which also holds the rule of North America (second Sunday of March, first of November).
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.reading.clock.stamps import counted_seconds, seconds_of
from aotf_lab.reading.clock.summer import change_of_clock


def place(row):
    return f"log.csv:{row + 2}, column 'Time'"


def clock(cells):
    return seconds_of(cells, place)


def transitions(zone, year):
    """Yield each change of the clocks of a year: the local times just before and just after it."""
    for hour in range(366 * 24 - 1):
        begin = datetime(year, 1, 1, tzinfo=UTC) + timedelta(hours=hour)
        before = (begin - timedelta(seconds=1)).astimezone(zone)
        after = begin.astimezone(zone)
        if before.utcoffset() != after.utcoffset() and after.year == year:
            yield before.replace(tzinfo=None), after.replace(tzinfo=None)


@pytest.mark.parametrize("year", [2002, 2019, 2024, 2026, 2032])
@pytest.mark.parametrize("name", ["Europe/Berlin", "Europe/Lisbon", "Europe/Helsinki", "Atlantic/Azores"])
def test_every_change_of_clocks_of_the_union_is_known(name, year):
    spring, autumn = transitions(ZoneInfo(name), year)
    assert change_of_clock(*spring) == "summer time began (last Sunday of March)"
    assert change_of_clock(*autumn) == "summer time ended (last Sunday of October)"


@pytest.mark.parametrize("year", [2007, 2019, 2026, 2032])
@pytest.mark.parametrize("name", ["America/New_York", "America/Los_Angeles"])
def test_every_change_of_clocks_of_north_america_is_known(name, year):
    spring, autumn = transitions(ZoneInfo(name), year)
    assert change_of_clock(*spring) == "summer time began (second Sunday of March)"
    assert change_of_clock(*autumn) == "summer time ended (first Sunday of November)"


def local_log(zone, start, step_s, count):
    """Return what a clock without a zone shows, and the true seconds."""
    true_s = step_s * np.arange(count)
    moments = [(start + timedelta(seconds=float(t))).astimezone(zone) for t in true_s]
    return [m.strftime("%d.%m.%Y %H:%M:%S.%f") for m in moments], true_s


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["Europe/Berlin", "Europe/Lisbon", "America/New_York"]), st.sampled_from([0, 1]),
    st.sampled_from([0.5, 1.0, 10.0, 60.0, 300.0, 1200.0]), st.integers(5, 40), st.integers(2008, 2036), st.booleans(),
)  # fmt: skip
def test_local_logs_over_a_change_of_clocks(name, which, step_s, before, year, reverse):
    zone = ZoneInfo(name)
    turn = list(transitions(zone, year))[which][1]
    instant = turn.replace(tzinfo=zone, fold=which).astimezone(UTC)
    cells, true_s = local_log(zone, instant - timedelta(seconds=before * step_s), step_s, before + 10)
    read = clock(cells[::-1] if reverse else cells)
    expected = true_s[::-1] - true_s[-1] if reverse else true_s
    assert read.time_s.tolist() == pytest.approx(expected.tolist(), abs=1e-6)
    assert next(why for why in read.flagged if why).startswith("time jumps")
    assert any("as the other steps are regular" in note for note in read.notes)


def test_an_hour_on_another_day_is_flagged_and_kept():
    back = clock([f"24.10.2026 02:{m:02d}:00" for m in (56, 57, 58, 59, 0, 1, 2)])
    assert back.time_s.tolist() == [0, 60, 120, 180, -3360, -3300, -3240]
    assert back.flagged[4] == "time jumps back by an hour, at no date of a change of clocks: kept as it stands"
    cells = [f"2026-03-28T01:{m}:00" for m in (56, 57, 58, 59)] + ["2026-03-28T03:00:00", "2026-03-28T03:01:00"]
    assert clock(cells).time_s[-1] == 3900
    assert clock(cells).flagged[4].startswith("time jumps forward by an hour, at no date")


def test_an_hour_in_an_irregular_log_is_flagged_and_kept():
    cells = ["25.10.2026 01:10:00", "25.10.2026 02:05:00", "25.10.2026 02:50:00", "25.10.2026 02:03:00"]
    read = clock(cells)
    assert read.time_s[-1] == 53 * 60
    assert read.flagged[3] == "time runs back by 2820 s; summer time ended (last Sunday of October)?"


def test_an_hour_without_a_date_is_flagged_and_kept():
    read = clock([f"02:{m:02d}:00" for m in (55, 56, 57, 58, 59, 0, 1)])
    assert read.flagged[5] == "time jumps back by an hour, the date is not known: kept as it stands"
    assert read.time_s[5] == -3300


def test_stated_zones_need_no_correction():
    read = clock(["2026-10-25T02:59:50+02:00", "2026-10-25T02:00:00+01:00", "2026-10-25T02:00:10+01:00"])
    assert read.time_s.tolist() == [0, 10, 20]
    assert not any(read.flagged)
    assert "2 zones" in read.notes[0]


def test_a_counter_that_starts_again():
    read = clock(["00:00:00", "00:00:10", "00:00:20", "00:00:00", "00:00:10"])
    assert read.time_s.tolist() == [0, 10, 20, 30, 40]
    assert read.segments == ((0, 3), (3, 5))
    assert read.flagged[3] == "counter began anew at 0 s: the gap before it is not known"
    assert "counter began anew at log.csv:5: laid end to end with a step of 10 s" in read.notes[-1]


def test_plain_seconds_that_start_again():
    read = counted_seconds(np.array([0.5, 1.0, np.nan, 1.5, 0.5, 1.0, 0.5]), place)
    assert read.time_s[[0, 1, 3, 4, 5, 6]].tolist() == [0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
    assert read.segments == ((0, 4), (4, 6), (6, 7))
    assert read.flagged[4].startswith("counter began anew at 0.5 s")


def test_midnight_with_a_long_gap_is_flagged():
    read = clock(["21:40:00", "22:10:00", "22:40:00", "05:15:00"])
    assert read.time_s[-1] == 27_300
    assert read.flagged[3] == "midnight taken as passed: the time falls by 62700 s"


def test_time_of_day_that_falls_by_little_is_kept():
    read = clock(["14:03:05", "14:03:15", "14:03:10", "14:03:25"])
    assert read.time_s.tolist() == [0, 10, 5, 20]
    assert read.flagged[2] == "time runs back by 5 s"


def test_reversed_time_is_named_once_and_kept():
    read = clock(["2026-03-29 14:05:00", "2026-03-29 14:04:00", "2026-03-29 14:03:00"])
    assert read.time_s.tolist() == [0, -60, -120]
    assert read.notes == ("the time falls down the column: rows kept in the order of the file",)
    assert not any(read.flagged)


def test_reversed_time_of_day_over_midnight():
    assert clock(["00:00:20", "00:00:10", "00:00:00", "23:59:50"]).time_s.tolist() == [0, -10, -20, -30]


def test_two_readings_in_one_second_are_kept_and_noted():
    read = clock(["14:03:05", "14:03:05", "14:03:06", "14:03:06"])
    assert read.time_s.tolist() == [0, 0, 1, 1]
    assert "2 rows have the time of the row before" in read.notes[-1]
