"""The simulated oscillator keeps its own description. Invented data: consistency, no outside source."""

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, oscillator_frequency, oscillator_sweep
from aotf_lab.simulate.truth import SKERRY


def drive_for(frequency_mhz):
    return brentq(lambda v: float(oscillator_frequency(v)) - frequency_mhz, *SKERRY.oscillator.drive_range_v)


def test_the_curve_rises_everywhere_and_covers_all_lines():
    drive = np.linspace(*SKERRY.oscillator.drive_range_v, 2000)
    frequency = oscillator_frequency(drive)
    assert np.all(np.diff(frequency) > 0)
    assert frequency[0] < 43.0
    assert frequency[-1] > 93.3


@pytest.mark.parametrize(("change", "expected_mhz"), [
    ({"temperature_c": 23.0}, -0.046),
    ({"supply_v": 16.0}, 0.55),
    ({"time_s": 0.0}, 0.36),
    ({"time_s": 13 * 60.0}, 0.36 / np.e),
])  # fmt: skip
def test_each_cause_moves_the_frequency_by_its_own_amount(change, expected_mhz):
    assert oscillator_frequency(7.0, **change) - oscillator_frequency(7.0) == pytest.approx(expected_mhz, abs=1e-12)


def test_a_sweep_scatters_and_errs_as_its_instruments_do():
    targets = np.tile([2.0, 6.0, 10.0], 4000)
    table = oscillator_sweep(np.random.default_rng(1), targets, interval_s=0.0)
    true_v = table["drive_v"] / (1 + SKERRY.instruments.voltmeter_error)
    frequency = table["frequency_mhz"] / (1 + SKERRY.instruments.counter_error)
    slope = (oscillator_frequency(true_v + 1e-4) - oscillator_frequency(true_v - 1e-4)) / 2e-4
    scatter = frequency - oscillator_frequency(true_v, 6300.0 + table["time_s"], 22.4)
    expected = np.hypot(SKERRY.oscillator.jitter_mhz, slope * SKERRY.instruments.voltmeter_noise_v)
    assert np.std(scatter / expected) == pytest.approx(1.0, abs=0.03)
    assert np.mean(scatter / expected) == pytest.approx(0.0, abs=0.04)


def test_the_demo_sweep_has_21_points_up_and_11_down():
    assert (len(DEMO_UP_V), len(DEMO_DOWN_V)) == (21, 11)
    assert np.all(np.diff(DEMO_UP_V) > 0)
    assert np.all(np.diff(DEMO_DOWN_V) < 0)
    table = oscillator_sweep(np.random.default_rng(0), (*DEMO_UP_V, *DEMO_DOWN_V))
    assert table["direction"].tolist() == ["up"] * 21 + ["down"] * 11


def test_a_dial_hides_the_backlash_of_the_pot():
    targets = [5.0, 6.0, 7.0, 6.0, 5.0]
    tables = [oscillator_sweep(np.random.default_rng(seed), targets, dial=True) for seed in range(300)]
    gap = np.mean([t["frequency_mhz"][3] - t["frequency_mhz"][1] for t in tables])
    slope = float(oscillator_frequency(6.5) - oscillator_frequency(5.5))
    assert tables[0]["drive_v"].tolist() == targets
    assert gap == pytest.approx(slope * SKERRY.oscillator.backlash_v, rel=0.05)
