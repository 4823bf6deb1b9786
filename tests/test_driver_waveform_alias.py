"""The true frequency of a trace that was sampled too slowly: by a counter, or by what the oscillator makes."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.driver.waveform.sampling import folded, unfolded
from aotf_lab.errors import ReadingsError
from aotf_lab.reading import Instruments, Scope
from tests.driver_traces import detail, failed, trace

RANGE = (44.0, 96.0)


def test_a_counter_that_agrees():
    wave = fit_waveform(trace(), counter_mhz=ufloat(64.003, 0.002))
    assert "they agree" in detail(wave, "counter")
    assert failed(wave) == set()
    assert wave.unfolded_mhz == ()


def test_a_counter_that_names_the_alias():
    wave = fit_waveform(trace(interval_ns=20.0), counter_mhz=64.002)
    text = detail(wave, "alias")
    assert "the trace shows 14 MHz and the counter 64.002 MHz" in text
    assert "64.002 MHz folds to 14.002 MHz" in text
    assert "true frequency is the counter's" in text
    assert wave.frequency_mhz is None
    assert wave.rf_power_w is None
    (true,) = wave.unfolded_mhz
    assert true.n == pytest.approx(64, abs=3 * true.s)
    assert "of which the trace shows the alias of 14 MHz" in str(wave)
    assert wave._title() == f"an alias of {true:.2uS} MHz"


def test_the_time_base_counts_for_all_of_the_unfolded_frequency():
    wave = fit_waveform(trace(interval_ns=20.0), Instruments(scope=Scope(time_base_ppm=50)), counter_mhz=64.002)
    assert wave.unfolded_mhz[0].s == pytest.approx(64 * 50e-6, rel=1e-2)


def test_harmonics_of_an_alias_are_those_of_the_true_frequency():
    bench = Instruments(scope=Scope(bandwidth_mhz=200.0))
    wave = fit_waveform(trace(interval_ns=20.0, harmonics={2: (-19, 1)}), bench, counter_mhz=64.0)
    second = wave.harmonics[0]
    assert second.share.n / second.shown.n == pytest.approx((1 + 0.64**2) / (1 + 0.32**2), rel=1e-3)


def test_a_counter_that_contradicts_both():
    wave = fit_waveform(trace(), counter_mhz=70.0)
    assert failed(wave) == {"counter"}
    assert "which is not what the trace shows; check the scope's time base" in detail(wave, "counter")
    assert wave.frequency_mhz is None
    assert wave.rf_power_w is None
    assert f"frequency: withheld (the trace shows {wave.wave.frequency_mhz:.6g} MHz)" in str(wave)


def test_range_that_leaves_one_frequency():
    wave = fit_waveform(trace(72.0, interval_ns=16.0), expected_mhz=(65.0, 96.0))
    assert "the true frequency is 72 MHz" in detail(wave, "alias")
    (true,) = wave.unfolded_mhz
    assert true.n == pytest.approx(72, abs=3 * true.s)


def test_range_that_leaves_several():
    wave = fit_waveform(trace(interval_ns=20.0), expected_mhz=RANGE)
    assert "may be 64 MHz or 86 MHz" in detail(wave, "alias")
    assert "or read a counter" in detail(wave, "alias")
    assert [round(f.n, 2) for f in wave.unfolded_mhz] == [64.0, 86.0]
    assert "64.0000(64) MHz or 86.0000(86) MHz, of which" in str(wave)


def test_range_that_holds_the_frequency_shown_and_an_alias():
    # At 120 million samples per second 50 MHz looks like 70 MHz: both are in the range.
    wave = fit_waveform(trace(50.0, interval_ns=1e3 / 120), expected_mhz=RANGE)
    assert "may be 50 MHz or 70 MHz" in detail(wave, "alias")


def test_range_that_holds_none():
    wave = fit_waveform(trace(), expected_mhz=(20.0, 30.0))
    assert failed(wave) == {"expected range"}
    assert "makes 20 to 30 MHz, of which none looks so" in detail(wave, "expected range")
    assert wave.rf_power_w is None


def test_range_of_a_good_trace():
    wave = fit_waveform(trace(), expected_mhz=RANGE)
    assert failed(wave) == set()
    assert "no other frequency there looks the same" in detail(wave, "alias")


def test_an_alias_too_slow_to_be_fitted_is_named():
    with pytest.raises(
        ReadingsError, match=r"row 1: an alias of the counter's 100\.01 MHz.*at least 250 million samples"
    ):
        fit_waveform(trace(100.01, interval_ns=10.0), counter_mhz=100.01)


@pytest.mark.parametrize("counter_mhz", [0.0, -64.0, float("nan"), float("inf")])
def test_a_counter_that_cannot_be(counter_mhz):
    with pytest.raises(ReadingsError, match=r"no frequency; found (0|-64|nan|inf); allowed: MHz, above 0; state"):
        fit_waveform(trace(), counter_mhz=counter_mhz)


@pytest.mark.parametrize("expected_mhz", [(96.0, 44.0), (-1.0, 5.0), (float("nan"), 3.0)])
def test_a_range_that_cannot_be(expected_mhz):
    with pytest.raises(
        ReadingsError, match=r"range of the oscillator that is none; found .* to .* MHz; allowed: lowest"
    ):
        fit_waveform(trace(), expected_mhz=expected_mhz)


def test_unfolding_finds_what_folds_back():
    # Oppenheim and Schafer, Discrete-Time Signal Processing, section 4.2: f and |f - k rate| have the same samples.
    rng = np.random.default_rng(0)
    for true, rate in zip(rng.uniform(44, 96, 200), rng.uniform(21, 300, 200), strict=True):
        shown = folded(true, rate)
        assert shown <= rate / 2
        found = [k * rate + sign * shown for k, sign in unfolded(shown, rate, 44, 96)]
        assert min(abs(f - true) for f in found) < 1e-9
        assert all(44 <= f <= 96 and abs(folded(f, rate) - shown) < 1e-9 for f in found)
        samples = np.arange(50) / rate
        np.testing.assert_allclose(np.cos(2 * np.pi * true * samples), np.cos(2 * np.pi * shown * samples), atol=1e-9)
