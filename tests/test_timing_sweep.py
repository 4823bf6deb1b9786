"""How fast a sweep may go: against sampled convolutions and circuit theory; lag against hysteresis; errors."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import signal
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.timing.sweep import lag_or_hysteresis, peak_light, sweep_limits
from aotf_lab.timing.sweep.pulse import pulse_light

TRANSIT = 1e3 * 1.6 / 643.4


@pytest.mark.parametrize(("s", "d", "b"), [(0.15, 0, 0), (0, 0.3, 0), (0, 0, 0.4), (0.1, 0.2, 0.3), (0.6, 0.5, 0.8)])
def test_the_blurred_pulse_against_convolution(s, d, b):
    """The passband (coupled waves) sampled, and convolved step by step."""
    step = 2e-3
    u = np.arange(-200.0, 200.0, step)
    light = 1.0 - light_lost(u)
    if s:
        kernel = np.exp(-0.5 * (np.arange(-8 * s, 8 * s + step / 2, step) / s) ** 2)
        light = signal.fftconvolve(light, kernel / kernel.sum(), mode="same")
    if b:
        half = round(b / step / 2)
        box = np.ones(2 * half + 1)
        box[[0, -1]] = 0.5
        light = signal.fftconvolve(light, box / box.sum(), mode="same")
    if d:
        k = math.exp(-step / d)
        b1 = 1.0 - d / step * (1.0 - k)
        light = signal.lfilter([b1, 1.0 - k - b1], [1.0, -k], light)
    near = slice(len(u) // 2 - 1000, len(u) // 2 + 1000, 50)
    np.testing.assert_allclose(pulse_light(u[near], s, d, b), light[near], atol=2e-4)
    assert peak_light(s, d, b) == pytest.approx(light.max(), abs=2e-4)


def test_a_small_loss_is_that_of_the_mean_square():
    """For a narrow blur the loss is curvature times variance / 2: sinc^2 gives pi^2 a^2 / 3 times the mean square."""
    a = 0.88589  # shared/acousto_optics_facts.csv
    assert 1.0 - peak_light(0.02) == pytest.approx(math.pi**2 * a**2 / 3 * 0.02**2, rel=5e-3)
    assert 1.0 - peak_light(0.0, 0.0, 0.04) == pytest.approx(math.pi**2 * a**2 / 3 * 0.04**2 / 12, rel=5e-3)


def test_the_beam_limits_the_demo_bench():
    found = sweep_limits(0.3, transit_us=TRANSIT, span_mhz=50.0, detector_rise_us=0.22, port_bandwidth_khz=180.0,
                         delay_us=9.33, generator_step_us=0.05)  # fmt: skip
    assert found.limited_by == "beam"
    assert peak_light(found.rate_mhz_per_us * TRANSIT / 4 / 0.3) > 0.95
    assert found.lost_at("all", found.rate_mhz_per_us) == pytest.approx(0.05, abs=1e-8)
    assert found.sweeps_per_s == pytest.approx(1e6 * found.rate_mhz_per_us / 50.0)
    assert found.lag_us == pytest.approx(9.33 + 0.22 / math.log(9.0) + 0.8842 + 0.025, abs=1e-3)
    assert sum(p.lost for p in found.parts) > 0.05


def test_each_part_can_limit():
    slow_detector = sweep_limits(0.3, transit_us=TRANSIT, detector_rise_us=20.0)
    steps = sweep_limits(0.3, transit_us=TRANSIT, generator_step_us=20.0)
    slew = sweep_limits(0.3, transit_us=TRANSIT, mhz_per_v=4.0, generator_slew_v_per_us=1e-3)
    port = sweep_limits(0.3, transit_us=TRANSIT, span_mhz=1.0, port_bandwidth_khz=1.0)
    limits = [found.limited_by for found in (slow_detector, steps, slew, port)]
    assert limits == ["detector", "generator", "generator", "oscillator port"]
    assert slew.rate_mhz_per_us == pytest.approx(4e-3)


@pytest.mark.parametrize("course", ["triangle", "sine"])
def test_what_the_port_takes_of_the_span_against_a_filter_run_over_the_sweep(course):
    """A single pole, run over twenty periods of the sweep (circuit theory by a recursive filter, step 1e-4)."""
    tau, span, loss = 1e3 / (2 * math.pi * 180.0), 50.0, 0.02
    found = sweep_limits(100.0, transit_us=1e-3, loss=loss, span_mhz=span, port_bandwidth_khz=180.0, course=course)
    assert found.limited_by == "oscillator port"
    period = 2e6 / found.sweeps_per_s
    t = np.arange(0.0, 20 * period, 1e-4 * period)
    wave = (
        span
        / 2
        * (np.sin(2 * np.pi * t / period) if course == "sine" else signal.sawtooth(2 * np.pi * t / period, 0.5))
    )
    k = math.exp(-1e-4 * period / tau)
    seen = signal.lfilter([0.5 * (1 - k), 0.5 * (1 - k)], [1.0, -k], wave)
    assert np.ptp(seen[len(t) // 2 :]) / span == pytest.approx(1.0 - loss, abs=2e-4)
    assert np.max(np.abs(np.gradient(wave, t))) == pytest.approx(found.rate_mhz_per_us, rel=1e-3)


def test_uncertainty_goes_through():
    found = sweep_limits(ufloat(0.3, 0.003), transit_us=ufloat(TRANSIT, 0.02 * TRANSIT))
    assert found.rate_mhz_per_us.s / found.rate_mhz_per_us.n == pytest.approx(math.hypot(0.01, 0.02), rel=1e-3)


def test_sweep_plot_and_words():
    found = sweep_limits(0.3, transit_us=TRANSIT, span_mhz=50.0, detector_rise_us=0.22)
    assert found.plot().get_xlabel() == "Rate of the sweep (MHz/µs)"
    assert "limited by" in str(found)
    assert "<caption>Sweep over a passband of 0.3 MHz</caption>" in found._repr_html_()


RATES = [0.01, 0.02, 0.05, 0.1]


def centres(lag=0.0, hysteresis=0.0, seed=1, u=0.0005):
    draw = np.random.default_rng(seed)
    shift = np.array(RATES) * lag + hysteresis / 2
    up, down = (64.0 + s * shift + draw.normal(0, u, len(RATES)) for s in (1, -1))
    return RATES, [ufloat(v, u) for v in up], [ufloat(v, u) for v in down]


def test_a_lag_and_hysteresis_are_told_apart():
    lag, stuck, both, none = (
        lag_or_hysteresis(*centres(*of)) for of in ((0.9, 0.0), (0.0, 0.03), (0.9, 0.03), (0.0, 0.0))
    )
    assert lag.verdict.startswith("a lag: ")
    assert stuck.verdict.startswith("hysteresis")
    assert both.verdict.startswith("a lag and hysteresis")
    assert none.verdict == "neither is seen"
    assert abs(both.lag_s.n - 0.9) < 3.5 * both.lag_s.s
    assert abs(both.hysteresis_mhz.n - 0.03) < 3.5 * both.hysteresis_mhz.s


def test_what_both_ways_share_cancels():
    shared = ufloat(0.0, 0.05)
    rates, up, down = centres(0.9)
    plain = lag_or_hysteresis(rates, up, down)
    found = lag_or_hysteresis(rates, [v + shared for v in up], [v + shared for v in down])
    assert found.lag_s.s == pytest.approx(plain.lag_s.s, rel=1e-6)


def test_without_uncertainties_the_scatter_tells():
    rates, up, down = centres(0.9)
    found = lag_or_hysteresis(rates, [v.n for v in up], [v.n for v in down])
    assert not found.fit.u_known
    assert found.limit > 5


def test_lag_plot_and_words():
    found = lag_or_hysteresis(*centres(0.9))
    assert found.plot().get_xlabel() == "Rate of the sweep (MHz/s)"
    assert "verdict" in str(found)
    assert "<caption>Up against down at 4 rates</caption>" in found._repr_html_()


def test_one_rate_tells_nothing():
    with pytest.raises(ReadingsError, match=r"rates that tell no lag from hysteresis; found 0\.1, 0\.1 MHz/s"):
        lag_or_hysteresis([0.1, 0.1], [64.0, 64.0], [63.9, 63.9])


def test_lists_that_do_not_pair():
    with pytest.raises(ReadingsError, match="rates and centres do not pair up; found 2, 2 and 1"):
        lag_or_hysteresis([0.1, 0.2], [64.0, 64.0], [63.9])


def test_a_loss_of_nothing():
    with pytest.raises(AotfLabError, match=r"loss of light of a sweep; found 0;"):
        sweep_limits(0.3, transit_us=TRANSIT, loss=0.0)


def test_a_slew_without_a_slope():
    with pytest.raises(AotfLabError, match=r"slew without the oscillator's slope; found 1;"):
        sweep_limits(0.3, transit_us=TRANSIT, generator_slew_v_per_us=1.0)


def test_a_passband_of_no_width():
    with pytest.raises(AotfLabError, match=r"fwhm_mhz of a sweep; found 0;"):
        sweep_limits(0.0, transit_us=TRANSIT)
