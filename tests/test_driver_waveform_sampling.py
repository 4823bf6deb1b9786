"""Even times, rounded stamps, missing samples; the steps of the converter."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.driver.waveform.sampling import sampling
from aotf_lab.driver.waveform.steps import distinct_phases, rounding_share, step_v, u_rounding
from tests.driver_traces import detail, failed, trace


@pytest.mark.parametrize(("interval_ns", "digit_ns"), [(0.4, 1.0), (2.5, 1.0), (0.25, 0.1), (1 / 3, 0.1), (0.7, 0.2)])
def test_rounded_stamps_are_an_even_grid(interval_ns, digit_ns):
    rng = np.random.default_rng(2)
    for _ in range(10):
        true = interval_ns * (1 + rng.normal(0, 3e-5))
        stamps = np.round((rng.uniform(-400, 0) + true * np.arange(2000)) / digit_ns) * digit_ns
        grid = sampling(1e-3 * stamps)
        assert grid.rounded
        assert grid.uneven.size == grid.gaps.size == 0
        assert np.ptp(np.diff(grid.time_us)) < 1e-9
        # Half of the range that the stamps leave is sqrt(3) of the u stated, and holds the true interval.
        assert abs(1e3 * grid.interval_us / true - 1) <= 3**0.5 * grid.u_interval * 1.0001
        assert grid.u_interval < 3e-4


@pytest.mark.parametrize("interval_ns", [0.4, 2.5])
def test_a_trace_with_rounded_stamps(interval_ns):
    table = trace(interval_ns=interval_ns)
    table["time_s"] = table["time_s"].round(9)
    assert (np.diff(table["time_s"]) == 0).any() == (interval_ns < 1)
    wave = fit_waveform(table)
    assert failed(wave) == set()
    assert "the stamps are rounded, an even grid was used" in detail(wave, "even time")
    assert wave.frequency_mhz.n == pytest.approx(64, abs=3 * wave.frequency_mhz.s)
    assert "rounding of the time stamps" in wave.fit.budget(wave.frequency_mhz)
    assert wave.amplitude_v.n == pytest.approx(0.6, abs=3 * wave.amplitude_v.s)


def test_stamps_with_few_significant_digits():
    times = np.array([float(f"{t:.3e}") for t in 0.4e-9 * np.arange(2000) + 0.13e-9])
    grid = sampling(1e6 * times)
    assert grid.rounded
    assert 1e3 * grid.interval_us == pytest.approx(0.4, rel=3**0.5 * grid.u_interval)
    assert grid.u_interval < 5e-5


def test_stamps_in_single_precision_are_taken_as_they_are():
    times = (0.4e-9 * np.arange(2000) - 3.3e-7).astype(np.float32).astype(float)
    grid = sampling(1e6 * times)
    assert grid.uneven.size == 0
    assert 1e3 * grid.interval_us == pytest.approx(0.4, rel=1e-6)


def test_exact_times_are_not_called_rounded():
    grid = sampling(1e-3 * np.arange(-500, 500) * 0.5)
    assert not grid.rounded
    assert grid.u_interval == 0
    assert grid.interval_us == pytest.approx(5e-4, rel=1e-12)


def test_gaps_and_uneven_steps_are_told_apart():
    times = 1e-3 * np.delete(np.arange(1000.0), [100, 101, 300])
    grid = sampling(times)
    assert grid.gaps.tolist() == [100, 298]
    assert grid.uneven.size == 0
    assert grid.interval_us == pytest.approx(1e-3, rel=1e-9)
    times[500:] += 0.4e-3
    assert sampling(times).uneven.tolist() == [500]


def test_the_step_of_the_converter():
    rng = np.random.default_rng(0)
    wave = np.sin(0.3 * np.arange(2000)) + rng.normal(0, 0.005, 2000)
    assert step_v(np.round(wave * 128) / 128) == pytest.approx(1 / 128)
    assert step_v(np.round(np.round(wave * 128) / 128, 4)) == pytest.approx(1 / 128, rel=0.01)  # printed to 0.1 mV
    assert step_v(wave) == 0
    assert step_v(np.round(wave * 2**15) / 2**15) == 0  # finer than the readings repeat
    assert step_v(np.tile([0.0, 1.0, 2.7, -0.4], 100)) == 0  # values at no common distance


def test_rounding_of_a_sine_against_simulation():
    # The rounding error of noise-free sines of every amplitude: the formula against direct rounding.
    rng = np.random.default_rng(1)
    for cycles, phases in (((5**0.5 - 1) / 2, 0), (10 / 81, 81)):
        x = 2 * np.pi * np.arange(20250) * cycles
        for amplitude in (5.3, 20.0, 100.0):
            errors = []
            for _ in range(600):
                wave = (amplitude + rng.uniform(-1, 1)) * np.cos(x)
                errors.append(2 * np.mean((np.round(wave) - wave) * np.cos(x)))
            assert u_rounding(amplitude, 0.0, 1.0, phases) == pytest.approx(np.std(errors), rel=0.25 if phases else 0.1)


def test_noise_blurs_the_rounding():
    assert rounding_share(12**-0.5, 1.0) == 1
    assert rounding_share((1 / 12 + 0.25) ** 0.5, 1.0) == pytest.approx(np.exp(-(np.pi**2)))
    assert rounding_share(0.3, 0.0) == 0
    assert u_rounding(0.6, 0.01, 0.0) == 0
    assert u_rounding(0.5, 0.1, 1.0) == 0.5


def test_phases_of_a_wave_in_step_with_the_sampling():
    assert distinct_phases(0.1, 2000, 1e-3) == 10
    assert distinct_phases(3 / 7 + 1e-9, 2000, 1e-3) == 7
    assert distinct_phases(0.1 + 1e-5, 2000, 1e-3) == 0
