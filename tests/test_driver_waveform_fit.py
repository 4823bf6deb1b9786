"""The wave in a trace: its numbers, their uncertainties, and how they are shown."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.driver.waveform.harmonics import fit_harmonics
from aotf_lab.errors import FitError
from aotf_lab.reading import Instruments, Scope
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import Receipt
from aotf_lab.reading.scope import add_rf_power
from tests.driver_traces import failed, trace

BENCH = Instruments(
    scope=Scope(
        gain_percent=2.0, probe=1.0, pad_db=30.0, u_pad_db=0.1, load_ohm=50.0, u_load_ohm=0.5, bandwidth_mhz=200.0,
        u_bandwidth_percent=5.0, input_ohm=50.0, time_base_ppm=20.0, load_return_loss_db=26.0,
        source_return_loss_db=15.0,
    )
)  # fmt: skip
TRUE_HARMONICS = {2: (-19.0, 1.0), 3: (-24.0, 2.0)}


@pytest.fixture(scope="module")
def wave():
    return fit_waveform(trace(harmonics=TRUE_HARMONICS), BENCH)


def test_numbers_are_right_within_their_uncertainty(wave):
    assert wave.frequency_mhz.n == pytest.approx(64.0, abs=3 * wave.frequency_mhz.s)
    assert wave.amplitude_v.n == pytest.approx(0.6, abs=3 * wave.amplitude_v.s)
    assert wave.offset_v.n == pytest.approx(0.01, abs=3 * wave.offset_v.s)
    assert wave.amplitude_v.s < 3e-4
    assert wave.noise_v == pytest.approx(np.hypot(0.004, 1.6 / 256 / 12**0.5), rel=0.06)
    assert wave.noise_dbc == pytest.approx(20 * np.log10(wave.noise_v * 2**0.5 / 0.6), abs=0.01)
    assert wave.fit.trusted
    assert wave.withheld == ""


def test_harmonics_are_right_with_phase_and_the_unseen_are_limits(wave):
    second, third, fourth, fifth = wave.harmonics
    for found, (level, lag) in zip((second, third), TRUE_HARMONICS.values(), strict=True):
        assert found.shown.n == pytest.approx(10 ** (level / 10), abs=3.5 * found.shown.s)
        assert np.angle(np.exp(1j * (found.phase_rad - lag))) == pytest.approx(0.0, abs=0.05)
        assert found.seen
    for unseen in (fourth, fifth):
        assert not unseen.seen
        assert unseen.limit_dbc == pytest.approx(10 * np.log10(unseen.floor * 6.21), abs=0.01)
        assert abs(unseen.shown.n) < 5 * unseen.shown.s


def test_bandwidth_is_taken_out_of_the_harmonics(wave):
    # Definition of a single pole: power falls by 1 + (f / B)^2.
    for h in wave.harmonics:
        fall = (1 + (h.order * 64 / 200) ** 2) / (1 + (64 / 200) ** 2)
        assert h.share.n / h.shown.n == pytest.approx(fall, rel=1e-4)
        assert wave.shares[h.order] is h.share
    # u by the bandwidth: 5 % of B is 10 % of (f / B)^2, of which the correction is the share 1 - 1 / (1 + x^2).
    second, third = (
        wave.fit.budget(h.share)["scope bandwidth"] ** 0.5 * h.share.s / h.share.n for h in wave.harmonics[:2]
    )
    x2 = (64 / 200) ** 2
    assert second == pytest.approx(0.1 * (4 * x2 / (1 + 4 * x2) - x2 / (1 + x2)), rel=0.01)
    assert third == pytest.approx(0.1 * (9 * x2 / (1 + 9 * x2) - x2 / (1 + x2)), rel=0.01)


def test_power_is_that_of_the_fundamental(wave):
    # P = A^2 / 2R behind 30 dB, single pole of 200 MHz: definitions.
    watts = 0.6**2 / 2 / 50 * 1000 * (1 + 0.32**2)
    assert wave.rf_power_w.n == pytest.approx(watts, rel=1e-3)
    budget = wave.fit.budget(wave.rf_power_w)
    assert set(budget) >= {"scope gain", "pad", "load", "mismatch", "scope bandwidth", "scatter of the trace"}
    gain = (budget["scope gain"] ** 0.5) * wave.rf_power_w.s / wave.rf_power_w.n
    assert gain == pytest.approx(0.04, rel=1e-3)


def test_scale_of_power_cancels_between_trace_and_level(wave):
    table = pd.DataFrame({"rf_level_vrms": [0.6 / 2**0.5], "frequency_mhz": [64.0]})
    level = add_rf_power(Readings(table, receipts=(Receipt("level.csv", 1, ()),)), BENCH.with_harmonics(()))
    watts = level.table["rf_power_w"].iloc[0]
    for error in level.common_errors("rf_power_w"):
        watts = error.applied_to(watts)
    ratio = wave.rf_power_w / watts
    assert ratio.n == pytest.approx(1.0, abs=1e-3)
    assert ratio.s < 1e-3 < 0.04 < watts.s / watts.n


def test_frequency_carries_the_time_base(wave):
    budget = wave.fit.budget(wave.frequency_mhz)
    assert budget["scope time base"] > 0.9
    assert wave.frequency_mhz.s == pytest.approx(64 * 20e-6, rel=0.05)
    other = fit_waveform(trace(72.0, seed=2), BENCH)
    ratio = other.frequency_mhz / wave.frequency_mhz
    assert ratio.s < 2e-6


def test_unstated_bench_blocks_nothing():
    wave = fit_waveform(trace(harmonics=TRUE_HARMONICS))
    assert wave.rf_power_w.s / wave.rf_power_w.n > 1  # pad and probe not stated
    assert wave.harmonics[1].share.s / wave.harmonics[1].share.n == pytest.approx(0.8, rel=0.05)  # 10 % x (3^2 - 1)


def test_noise_from_the_scatter_gives_student_t():
    wave = fit_waveform(trace(samples=200, interval_ns=1.7, noise_v=0.02))
    assert not wave.fit.u_known
    assert wave.fit.dof == 200 - 12
    assert wave.fit.coverage_factor() == pytest.approx(1.9727, abs=1e-4)  # Student t, 188 degrees, two-sided 95 %


def test_rounding_without_noise_is_in_the_budget():
    wave = fit_waveform(trace(noise_v=1e-5, amplitude_v=0.7))
    tag = "rounding to the scope's steps"
    assert wave.fit.budget(wave.amplitude_v)[tag] > 0.3
    assert tag not in wave.fit.budget(fit_waveform(trace(bits=0)).amplitude_v)
    dithered = fit_waveform(trace(noise_v=0.006))
    assert dithered.fit.budget(dithered.amplitude_v).get(tag, 0.0) < 1e-6


def test_sampling_in_step_with_the_wave_is_less_sure_of_the_amplitude():
    # Ten phases over and over, with hardly any noise: rounding errors of q / sqrt 12 average over ten readings only.
    errors, stated = [], []
    for seed in range(40):
        amplitude = 0.6 + 0.006 * np.random.default_rng(seed).random()
        table = trace(100.0, noise_v=1e-3, amplitude_v=amplitude, phase_rad=0.1 * seed, offset_v=0.002 * seed)
        found = fit_waveform(table)
        errors.append(found.amplitude_v.n - amplitude)
        stated.append(found.amplitude_v.s)
    assert 0.5 < np.std(errors) / np.mean(stated) < 1.3
    assert np.std(errors) > 2e-4


def test_model_is_the_wave(wave):
    time_s = np.linspace(0, 1e-6, 50)
    phase = 2 * np.pi * 64e6 * time_s + 0.7
    true = 0.01 + 0.6 * (np.cos(phase) + 10**-0.95 * np.cos(2 * phase - 1) + 10**-1.2 * np.cos(3 * phase - 2))
    np.testing.assert_allclose(wave.model(time_s), true, atol=0.002)


def test_text_html_and_plot(wave):
    text = str(wave)
    assert text.startswith("trace: 127.9 periods, 15.6 samples in each\n")
    assert "harmonic 2: -17.9 +- 0.1 dBc" in text
    assert "harmonic 5: not seen, below" in text
    assert "RF power of the fundamental: 3.97(20) W" in text
    assert "a power from volts rms is too high by: 1.7 %" in text
    assert "<th>harmonic 3</th>" in wave._repr_html_()
    figure, ax = plt.subplots()
    assert wave.plot(ax) is ax
    assert ax.get_xlabel() == "Time t (ns) from the first sample"
    assert ax.get_title() == f"{wave.frequency_mhz:.2uS} MHz"
    assert len(ax.lines) == 2
    plt.close(figure)


def test_plot_marks_samples_at_the_rail():
    figure, ax = plt.subplots()
    fit_waveform(trace(amplitude_v=1.0)).plot(ax)
    assert [line.get_label() for line in ax.lines][-1] == "samples at the rail"
    plt.close(figure)


def test_a_million_samples():
    wave = fit_waveform(trace(samples=1_000_000, harmonics=TRUE_HARMONICS))
    assert wave.wave.frequency_mhz == pytest.approx(64.0, abs=1e-7)
    assert wave.amplitude_v.n == pytest.approx(0.6, abs=3 * wave.amplitude_v.s)
    assert wave.amplitude_v.s < 1e-5
    assert wave.fit.trusted


def test_fit_from_a_wrong_place_is_refused():
    table = trace()
    with pytest.raises(FitError, match=r"does not settle; found .* MHz, from 66 MHz; allowed: .*steady frequency"):
        fit_harmonics(1e6 * table["time_s"].to_numpy(), table["signal_v"].to_numpy(), (1, 2), 66.0)


def test_orders_that_look_the_same_are_refused():
    table = trace(250.0, noise_v=0.0, bits=0)
    with pytest.raises(FitError, match=r"look the same at these times; found a singular fit; .*more samples"):
        fit_harmonics(1e6 * table["time_s"].to_numpy(), table["signal_v"].to_numpy(), (1, 3), 250.0)


def test_false_alarms_are_rare():
    names = [name for seed in range(60) for name in failed(fit_waveform(trace(harmonics=TRUE_HARMONICS, seed=seed)))]
    assert len(names) <= 2
