"""The warm-up watcher on a file that grows: whole lines only, and a forecast against the exponential."""

from __future__ import annotations

import asyncio

import numpy as np
import pandas as pd
import pytest

from aotf_lab.errors import ReadingError, ReadingsError
from aotf_lab.reading.readings import Readings
from aotf_lab.widgets.warm_up_state import log_so_far, longer_log, read_whole_lines, warm_up_state
from aotf_lab.widgets.warm_up_watch import WarmUpPanel
from tests.conftest import DEMO

RAW = (DEMO / "warmup_log.csv").read_bytes().split(b"\n")
HEAD = 5
HALF = b"2026-03-16T11:13:00,6.0099,66"


def grown(path, rows, tail=b""):
    path.write_bytes(b"\n".join(RAW[: HEAD + rows]) + b"\n" + tail)
    return path


def exponential(minutes, drift_mhz=0.36, tau_min=13.0, u_mhz=0.004, seed=1):
    """Return a log at 10 s of an exponential warm-up with white noise."""
    t = np.arange(0.0, 60.0 * minutes, 10.0)
    noise = u_mhz * np.random.default_rng(seed).standard_normal(len(t))
    mhz = 66.42 + drift_mhz * np.exp(-t / (60.0 * tau_min)) + noise
    return Readings(pd.DataFrame({"time_s": t, "frequency_mhz": mhz, "u_frequency_mhz": u_mhz}))


def test_a_line_that_is_still_being_written_does_not_count(demo, tmp_path):
    """Cut off, 66.4171 would read as 66 MHz."""
    path = grown(tmp_path / "log.csv", 100, HALF)
    table = read_whole_lines(path, demo).table
    assert len(table) == 100
    assert table["frequency_mhz"].min() > 66.3
    assert len(read_whole_lines(grown(tmp_path / "log.csv", 101), demo).table) == 101


def test_the_sessions_own_log_is_read_as_session_toml_says(demo):
    table = read_whole_lines(DEMO / "warmup_log.csv", demo).table
    assert np.array_equal(table["frequency_mhz"], demo.readings("warm_up").table["frequency_mhz"])


def test_a_log_that_is_not_there(demo, tmp_path):
    with pytest.raises(ReadingError, match=r"none.csv: the log cannot be opened; found No such file"):
        read_whole_lines(tmp_path / "none.csv", demo)


@pytest.mark.parametrize("minutes", [45, 52])
def test_the_forecast_is_where_the_exponential_falls_below_the_limit(minutes):
    """A exp(-t / tau) = limit at t = tau ln(A / limit)."""
    log = log_so_far(exponential(minutes), started_s=0.0)
    state = warm_up_state(log, 0.02, 0.3)
    expected = 60 * 13.0 * np.log(0.36 / 0.006)
    assert state.wait_s is None
    tau = log.law.time_constant_s
    assert state.forecast_s == pytest.approx(expected, abs=4 * expected * tau.s / tau.n + 30)
    assert f"wait about another {(state.forecast_s - state.now_s) / 60:.0f} min" in state.title


def test_what_is_left_is_what_the_exponential_leaves():
    state = warm_up_state(log_so_far(exponential(45), started_s=0.0), 0.02, 0.3)
    truth = 0.36 * np.exp(-state.now_s / (60 * 13.0))
    assert abs(state.left_mhz.n - truth) < 4 * state.left_mhz.s


def test_ready_is_said_only_for_sure():
    state = warm_up_state(log_so_far(exponential(110), started_s=0.0), 0.05, 0.3)
    assert state.verdict == "ready"
    truth = 0.36 * np.exp(-state.wait_s / (60 * 13.0))
    assert truth < 0.015


def test_too_few_readings_are_shown_without_a_law(demo, tmp_path):
    panel = WarmUpPanel(demo, grown(tmp_path / "log.csv", 12))
    assert panel.now.log.law is None
    assert "not to be said yet" in panel.numbers.value
    assert "too few readings for the law of a warm-up; found 12" in panel.numbers.value
    assert panel.image.value
    assert panel.problems == []


def test_no_reading_at_all():
    with pytest.raises(ReadingsError, match="no readings at all"):
        log_so_far(Readings(pd.DataFrame({"time_s": [], "frequency_mhz": []})))


def test_it_follows_the_file(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 60)
    panel = WarmUpPanel(demo, path)
    seen = [panel.image.value]
    for rows in (200, 400, 720):
        grown(path, rows, HALF)
        assert panel.look()
        assert not panel.look()
        assert len(panel.now.log.frequency_mhz) == rows
        assert panel.image.value != seen[-1]
        seen.append(panel.image.value)
    assert panel.now.verdict == "ready"
    assert panel.problems == []


def test_new_readings_are_shown_before_the_law_is_fitted_to_them(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 400)
    panel = WarmUpPanel(demo, path)
    law = panel.now.log.law
    grown(path, 420)
    assert panel.read()
    assert panel.now.log.law is law
    assert panel.now.log.newer == 20
    assert "readings</th><td>420" in panel.numbers.value
    assert "still that of before the last 20 readings" in panel.numbers.value
    early = panel.now.log.at_mean_temperature
    picture = panel.image.value
    panel.fit()
    assert panel.now.log.law is not law
    assert panel.now.log.newer == 0
    assert "still that of before" not in panel.numbers.value
    assert panel.image.value != picture
    late = panel.now.log.at_mean_temperature
    assert early[0][-20:] == pytest.approx(late[0][-20:])
    assert early[1][-20:] == pytest.approx(late[1][-20:], abs=3e-3)  # less what the temperature did, by either law
    assert panel.now.left_mhz.n == pytest.approx(WarmUpPanel(demo, path).now.left_mhz.n, rel=1e-9)


def test_the_law_is_not_fitted_again_where_no_row_was_added(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 300)
    panel = WarmUpPanel(demo, path)
    law = panel.now.log.law
    grown(path, 300, HALF)
    assert panel.look()
    assert panel.now.log.law is law
    panel.look_now.click()
    assert panel.now.log.law is law
    assert panel.problems == []


def test_another_log_in_its_place_is_fitted_from_nothing(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 300)
    panel = WarmUpPanel(demo, path)
    law = panel.now.log.law
    grown(path, 200)
    assert panel.read()
    assert panel.now.log.newer == 0
    assert panel.now.log.law is not law
    assert longer_log(exponential(60), log_so_far(exponential(45, seed=2))) is None


def test_a_change_of_what_is_allowed_does_not_read_again(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 720)
    panel = WarmUpPanel(demo, path)
    log = panel.now.log
    path.unlink()
    before = panel.now.wait_s
    panel.share_percent.value = 1.0
    assert panel.now.log is log
    assert panel.now.wait_s > before
    panel.look_now.click()
    assert "the log cannot be opened" in panel.said.value
    assert panel.numbers.value == ""


def test_watching_looks_by_itself_until_it_is_stopped(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 60)
    panel = WarmUpPanel(demo, path)
    panel.every_s.value = 1

    async def watched():
        panel.watching.value = "watching"
        await asyncio.sleep(0.1)
        grown(path, 120)
        await asyncio.sleep(1.5)
        rows = len(panel.now.log.frequency_mhz)
        panel.watching.value = "stopped"
        grown(path, 130)
        await asyncio.sleep(1.5)
        return rows, len(panel.now.log.frequency_mhz)

    assert asyncio.run(watched()) == (120, 120)
    assert panel.problems == []


def test_a_time_that_cannot_be_is_said_and_the_time_before_it_holds(demo, tmp_path):
    path = grown(tmp_path / "log.csv", 60)
    panel = WarmUpPanel(demo, path)
    panel.every_s.value = 0
    assert panel.every_s.value == 0
    assert "Look every (1 to 120 s)" in panel.said.value
    assert panel.numbers.value == ""
    panel.every_s.value = 1
    assert panel.numbers.value
    looks = []
    panel.look = lambda: looks.append(panel.every_s.value) or True

    async def watched():
        panel.watching.value = "watching"
        await asyncio.sleep(0.1)
        panel.every_s.value = -5
        await asyncio.sleep(2.5)
        panel.watching.value = "stopped"

    asyncio.run(watched())
    assert looks[0] == 1.0
    assert set(looks[1:]) == {-5.0}
    assert len(looks) <= 3
    assert "found -5 s" in panel.said.value
    assert panel.problems == []


def test_without_anything_that_runs_it_says_so(demo, tmp_path):
    panel = WarmUpPanel(demo, grown(tmp_path / "log.csv", 60))
    panel.watching.value = "watching"
    assert panel.watching.value == "stopped"
    assert "nothing runs that could look again" in panel.said.value
    assert panel.numbers.value
