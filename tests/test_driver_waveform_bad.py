"""What is no trace of a wave is refused, with the row, the value found and the cure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.errors import FitError, ReadingsError
from tests.driver_traces import failed, trace


def table(signal) -> pd.DataFrame:
    return pd.DataFrame({"time_s": 1e-9 * np.arange(len(signal)), "signal_v": signal})


def test_a_missing_column():
    with pytest.raises(ReadingsError, match=r"no column 'signal_v' in these readings; found time_s; allowed: a column"):
        fit_waveform(pd.DataFrame({"time_s": [0.0, 1.0]}))


def test_too_few_samples():
    with pytest.raises(
        ReadingsError, match=r"row 1: too few samples in a trace; found 63; allowed: at least 64; save a"
    ):
        fit_waveform(trace(samples=63))


@pytest.mark.parametrize(("column", "value"), [("signal_v", np.nan), ("signal_v", np.inf), ("time_s", np.nan)])
def test_a_gap(column, value):
    rows = trace()
    rows.loc[[7, 9], column] = value
    with pytest.raises(
        ReadingsError, match=r"row 8: a gap in a trace; found 2 samples without a number; .*leave those"
    ):
        fit_waveform(rows)


def test_time_that_falls():
    rows = trace()
    rows.loc[10, "time_s"] = 5e-9
    with pytest.raises(
        ReadingsError, match=r"row 11: time that does not rise along the trace; found 0\.005 us; allowed"
    ):
        fit_waveform(rows)


def test_time_that_stands_still():
    with pytest.raises(
        ReadingsError, match=r"row 2000: time that does not rise along the trace; found 0 us; allowed: one"
    ):
        fit_waveform(trace().assign(time_s=0.0))


def test_a_trace_that_does_not_move():
    with pytest.raises(
        ReadingsError, match=r"row 1: a trace that does not move; found 0\.25; .*check channel, coupling"
    ):
        fit_waveform(table(np.full(500, 0.25)))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("step", [0.0, 0.0625])
def test_noise_only(seed, step):
    signal = np.random.default_rng(seed).normal(0.5, 0.03, 2000)
    signal = np.round(signal / step) * step if step else signal
    with pytest.raises(
        ReadingsError, match=r"row 1: no wave in the trace, only noise; found a strongest line .* times"
    ):
        fit_waveform(table(signal))


def test_noise_is_seldom_taken_for_a_wave():
    # Chance of one false line in SIGNIFICANCE = 0.2 %; 300 traces hold 0.6 on average, and more than 5 with 0.003 %.
    rng, found = np.random.default_rng(0), 0
    for _ in range(300):
        try:
            fit_waveform(table(rng.normal(0.0, 1.0, 500)))
            found += 1
        except (ReadingsError, FitError):
            pass
    assert found <= 5


def test_a_weak_wave_is_found():
    # Twice the limit: under the Hann window a line of power N A^2 / 6 over the noise s^2 of 26.
    signal = np.random.default_rng(1).normal(0.0, 1.0, 2000) + (26 * 6 / 2000) ** 0.5 * np.cos(0.4 * np.arange(2000))
    wave = fit_waveform(table(signal))
    assert wave.fit.values[0] == pytest.approx(400 / 2 / np.pi, abs=4 * wave.fit.parameters["frequency (MHz)"].s)


@pytest.mark.parametrize("frequency_mhz", [0.4, 0.9, 1.4])
def test_too_few_periods(frequency_mhz):
    with pytest.raises(
        ReadingsError, match=r"row 1: too few periods in the trace; found .* periods; allowed: at least 3"
    ):
        fit_waveform(trace(frequency_mhz))


def test_a_step_is_no_wave():
    with pytest.raises(
        ReadingsError, match=r"too few periods in the trace; found .* periods; allowed: at least 3, better"
    ):
        fit_waveform(table(np.repeat([0.0, 1.0], 1000)))


def test_a_wave_at_half_of_the_sample_rate():
    with pytest.raises(
        ReadingsError, match=r"at half of the sample rate.*found 499\.\d+ MHz, sampled 1000 million times"
    ):
        fit_waveform(trace(499.2))


@pytest.mark.parametrize("turns", [0.5, 1.0, 2.0, 5.0, 20.0])
def test_a_frequency_that_runs_away_gives_no_power(turns):
    time = np.arange(2000) / 2000.0
    try:
        wave = fit_waveform(trace(turn=2 * np.pi * turns * time**2))
    except FitError as error:
        assert "does not settle" in str(error)  # noqa: PT017
        return
    assert {"steady frequency", "rest is noise"} <= failed(wave)
    assert wave.rf_power_w is None
