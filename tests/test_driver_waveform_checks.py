"""What is wrong with a trace is named with rows and numbers, and the power withheld where it would be wrong."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.driver.waveform.checks import _UNSTEADY, _steady
from aotf_lab.driver.waveform.rest import Rest
from tests.driver_traces import detail, failed, trace


def test_a_good_trace_passes_every_check():
    wave = fit_waveform(trace(harmonics={2: (-19, 1), 3: (-24, 2)}), counter_mhz=64.001)
    assert failed(wave) == set()
    assert [c.name for c in wave.checks] == [
        "clipping", "steps", "even time", "samples per period", "periods", "fundamental", "harmonics apart",
        "steady frequency", "rest is noise", "counter",
    ]  # fmt: skip


@pytest.mark.parametrize(("share", "moves", "used"), [(0.5, True, 0.5), (3.0, True, 3.0), (0.5, False, 0.5)])
def test_power_beside_the_fundamental_uses_up_its_limit_where_it_fails(share, moves, used):
    check = _steady(Rest(None, 0.0, None, share * _UNSTEADY, moves, None, 1.0, 0.0))
    assert check.of_limit == pytest.approx(used)
    assert (check.of_limit <= 1.0) == check.passed


def test_power_beside_the_fundamental_that_is_noise_uses_up_no_limit():
    check = _steady(Rest(None, 0.0, None, 3.0 * _UNSTEADY, False, None, 1.0, 0.0))
    assert check.passed
    assert check.of_limit is None


def test_clipping_is_named_with_rows_and_volts():
    table = trace(amplitude_v=1.0, full_scale_v=1.6)
    wave = fit_waveform(table)
    at_rail = np.flatnonzero(table["signal_v"].isin([table["signal_v"].max(), table["signal_v"].min()]))
    assert "clipping" in failed(wave)
    assert wave.clipped_rows == tuple(at_rail)
    assert f"{at_rail.size} samples stand at the rail (row {at_rail[0] + 1}, row" in detail(wave, "clipping")
    assert "go 0.2" in detail(wave, "clipping")  # 1.0 + 0.01 V against 0.8 V, on average over the rail less
    assert wave.rf_power_w is None
    assert wave.harmonics is wave.rms_excess is wave.vpp_excess is wave.vpp_excess_range is wave.shares is None
    assert "withheld, as the check of clipping failed" in str(wave)
    assert "not to be used" in str(wave)


@pytest.mark.parametrize("offset_v", [0.2, -0.2])
def test_clipping_at_one_rail_only(offset_v):
    wave = fit_waveform(trace(amplitude_v=0.7, offset_v=offset_v))
    signal = wave.readings.table["signal_v"].to_numpy()
    assert "clipping" in failed(wave)
    assert set(np.sign(signal[list(wave.clipped_rows)])) == {np.sign(offset_v)}


@pytest.mark.parametrize("amplitude_v", [4.0, 40.0])
def test_a_wave_cut_off_almost_everywhere(amplitude_v):
    assert "clipping" in failed(fit_waveform(trace(amplitude_v=amplitude_v)))


def test_a_wave_of_two_levels_is_no_wave_to_be_measured():
    wave = fit_waveform(trace(amplitude_v=4000.0))
    assert "steps" in failed(wave)
    assert wave.rf_power_w is None
    assert "steps of" in detail(wave, "steps")


def test_a_full_screen_is_not_clipped():
    assert "clipping" not in failed(fit_waveform(trace(amplitude_v=0.78, noise_v=0.0005, offset_v=0.0)))


def test_a_flat_top_by_the_amplifier_is_not_clipping():
    wave = fit_waveform(trace(amplitude_v=0.7, harmonics={3: (-20, np.pi)}, noise_v=0.001))
    assert "clipping" not in failed(wave)
    assert wave.harmonics[1].shown.n == pytest.approx(0.01, rel=0.02)


def test_too_coarse_a_range_is_named():
    wave = fit_waveform(trace(amplitude_v=0.015, noise_v=0.003))
    assert "steps" in failed(wave)
    assert "spans 5 steps of 0.00625 V, limit 6" in detail(wave, "steps")
    assert wave.rf_power_w is None


def test_too_few_samples_in_a_period():
    wave = fit_waveform(trace(72.0, interval_ns=6.0))
    assert failed(wave) == {"samples per period"}
    assert detail(wave, "samples per period").startswith("2.31 samples in each period, limit 2.5")
    assert wave.rf_power_w is None
    assert wave.harmonics is not None


def test_too_few_periods_warn_and_keep_the_power():
    wave = fit_waveform(trace(samples=200, interval_ns=1.0))
    assert failed(wave) == {"periods"}
    assert "12.7 periods in the trace, limit 20" in detail(wave, "periods")
    assert wave.rf_power_w is not None


def test_harmonics_that_fold_onto_the_fundamental():
    wave = fit_waveform(trace(250.01))
    assert "harmonics apart" in failed(wave)
    assert "order 3 looks like the fundamental" in detail(wave, "harmonics apart")
    assert wave.rf_power_w is None


def test_harmonics_that_fold_elsewhere_are_named():
    wave = fit_waveform(trace(125.3))
    assert "harmonics apart" not in failed(wave)
    assert "order 4 looks like half of the sample rate: not told apart" in detail(wave, "harmonics apart")
    strong = fit_waveform(trace(125.3, harmonics={4: (-15, 0.3)}))
    assert "harmonics apart" in failed(strong)
    assert "dBc is left over the fit; save the trace with a faster time base" in detail(strong, "harmonics apart")
    assert strong.rf_power_w is None


def test_missing_samples_are_named_and_do_no_harm():
    wave = fit_waveform(trace().drop(index=[100, 101, 700]))
    assert failed(wave) == set()
    assert "samples are missing before row 101, row 699" in detail(wave, "even time")
    assert wave.frequency_mhz.n == pytest.approx(64, abs=3 * wave.frequency_mhz.s)


def test_two_pieces_are_named_with_the_row():
    table = trace()
    table.loc[1000:, "time_s"] += 3.4e-9
    wave = fit_waveform(table)
    assert {"even time", "steady frequency", "rest is noise"} <= failed(wave)
    assert "1 samples do not follow the one before by 1 ns (row 1001)" in detail(wave, "even time")
    assert wave.rf_power_w is None


def test_hum_and_slope_below_the_wave():
    table = trace(amplitude_v=0.3)
    table["signal_v"] += np.linspace(-0.4, 0.4, 2000)
    wave = fit_waveform(table)
    assert wave.wave.frequency_mhz == pytest.approx(64, abs=0.02)
    assert "rest is noise" in failed(wave)
    assert wave.amplitude_v.n == pytest.approx(0.3, abs=2 * wave.amplitude_v.s)


def test_a_second_tone_is_named_with_its_level():
    wave = fit_waveform(trace(tones={71.0: 0.03}))
    assert failed(wave) == {"rest is noise"}
    assert "a tone of -26.0 dBc at 71 MHz, as sampled: a second wave or hum" in detail(wave, "rest is noise")
    assert wave.amplitude_v.n == pytest.approx(0.6, abs=2 * wave.amplitude_v.s)


def test_a_high_harmonic_is_named():
    wave = fit_waveform(trace(harmonics={7: (-30, 0)}))
    assert "the place of harmonic 7" in detail(wave, "rest is noise")


def test_a_tone_within_the_rounding_is_no_alarm():
    for seed in range(10):
        assert failed(fit_waveform(trace(noise_v=1e-4, seed=seed, phase_rad=seed))) == set()


def test_a_slow_drift_is_named_and_widens():
    time = np.arange(2000) / 2000.0
    steady, moving = fit_waveform(trace(noise_v=0.002)), fit_waveform(trace(noise_v=0.002, turn=0.6 * time**2))
    assert failed(moving) == {"rest is noise"}
    assert "its frequency or amplitude moves within the trace" in detail(moving, "rest is noise")
    assert "variances widened" in detail(moving, "rest is noise")
    assert moving.amplitude_v.s > 8 * steady.amplitude_v.s
    assert moving.amplitude_v.n == pytest.approx(0.6, abs=2 * moving.amplitude_v.s)
    # Instantaneous frequency: 64 MHz and 0.6 * 2 t / (2 pi) turns per 2 us, on average 0.3 / pi / 2 us = 47.7 kHz more.
    assert moving.fit.values[0] == pytest.approx(64.0477, abs=2 * moving.fit.parameters["frequency (MHz)"].s)


def test_a_fast_drift_withholds_the_power():
    wave = fit_waveform(trace(turn=3.0 * (np.arange(2000) / 2000.0) ** 2))
    assert {"steady frequency", "rest is noise"} <= failed(wave)
    assert "% of power stands beside the fundamental, limit 2 %" in detail(wave, "steady frequency")
    assert wave.rf_power_w is None
    assert wave.harmonics is None


def test_a_phase_that_wanders_is_named():
    turn = np.cumsum(np.random.default_rng(3).normal(0, 0.006, 2000))
    wave = fit_waveform(trace(turn=turn))
    assert "moves within the trace" in detail(wave, "rest is noise")
    u = wave.fit.parameters["frequency (MHz)"].s
    # A phase that walks by s per sample over n samples: the fitted slope has the variance 6/5 s^2 / n per sample^2.
    assert u == pytest.approx(0.006 * (1.2 / 2000) ** 0.5 / (2 * np.pi * 1e-3), rel=0.6)
    assert abs(wave.fit.values[0] - 64) < 3 * u


def test_an_amplitude_that_falls_is_named():
    table = trace(noise_v=0.002)
    table["signal_v"] *= np.linspace(1.0, 0.9, 2000)
    assert "moves within the trace" in detail(fit_waveform(table), "rest is noise")


def test_jitter_of_the_sampling_is_named():
    picoseconds = 30.0
    turn = 2 * np.pi * 64e6 * np.random.default_rng(4).normal(0, 1e-12 * picoseconds, 2000)
    wave = fit_waveform(trace(turn=turn, noise_v=0.002))
    assert failed(wave) == {"rest is noise"}
    text = detail(wave, "rest is noise")
    assert "larger on the slopes than on the crests" in text
    assert float(text.split("a jitter of ")[1].split()[0]) == pytest.approx(picoseconds, rel=0.1)
    assert "widened 1.5 times" in text


STRONG_SECOND = {2: (4.4, 0.5)}


def test_a_second_harmonic_stronger_than_the_fundamental_is_named():
    wave = fit_waveform(trace(32.0, amplitude_v=0.3, harmonics=STRONG_SECOND))
    assert "fundamental" in failed(wave)
    text = detail(wave, "fundamental")
    assert "a line of -4.4 dBc stands at 32" in text
    assert "is the harmonic of order 2; state counter_mhz or expected_mhz" in text
    assert wave.rf_power_w is None


@pytest.mark.parametrize("known", [{"counter_mhz": 32.0}, {"expected_mhz": (20.0, 50.0)}])
def test_what_is_known_of_the_frequency_finds_the_fundamental(known):
    wave = fit_waveform(trace(32.0, amplitude_v=0.3, harmonics=STRONG_SECOND), **known)
    assert failed(wave) == set()
    assert wave.frequency_mhz.n == pytest.approx(32, abs=0.01)
    assert 10 * np.log10(wave.harmonics[0].shown.n) == pytest.approx(4.4, abs=0.05)


def test_a_third_harmonic_stronger_than_the_fundamental_is_named():
    wave = fit_waveform(trace(22.0, amplitude_v=0.2, harmonics={3: (6.0, 0.3)}))
    assert "harmonic of order 3" in detail(wave, "fundamental")


def test_a_counter_confirms_the_strongest_line():
    wave = fit_waveform(trace(tones={32.0: 0.06}), counter_mhz=64.0)
    assert "fundamental" not in failed(wave)
    assert "a tone of -20.0 dBc at 32 MHz" in detail(wave, "rest is noise")
