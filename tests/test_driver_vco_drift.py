"""A drift that bends, and a drift that a one-way sweep cannot show, are in the uncertainty.

Judged by the textbook resonance of ``tests.driver_oscillator`` with a warm-up added, and on sweeps of the
invented bench.
"""

from __future__ import annotations

import re

import numpy as np
import pytest

from aotf_lab.driver import fit_vco
from aotf_lab.driver.vco_drift import bend_shapes
from aotf_lab.simulate import SKERRY, oscillator_frequency, oscillator_sweep
from aotf_lab.simulate.oscillator import DEMO_DOWN_V, DEMO_UP_V, REFERENCE_V
from tests.driver_oscillator import check, resonance_mhz, run, there_and_back

PLACES = np.array([1.5, 3.0, 4.5, 5.4, 6.8, 8.5, 11.0])
ONE_WAY = np.linspace(0.3, 14.0, 21)
TIME_S = 25.0 * np.arange(32)
CAUSE = "drift that a one-way sweep cannot show"


def warm_up_mhz(time_s, time_constant_s: float = 780.0):
    """What an exponential warm-up that began 4 min before adds, counted from the last reading."""
    settling = 0.36 * np.exp(-(240.0 + time_s) / time_constant_s)
    return settling - settling[-1]


def pulls(vco, true_mhz):
    return [(f.n - t) / f.s for f, t in zip(vco.frequency(PLACES), true_mhz, strict=True)]


def cold_sweep(seed: int, interval_s: float = 25.0):
    targets_v = (REFERENCE_V, *DEMO_UP_V, *DEMO_DOWN_V, REFERENCE_V)
    table = oscillator_sweep(np.random.default_rng([seed, 5]), targets_v, start_s=240.0, interval_s=interval_s)
    return table.assign(u_drive_v=SKERRY.instruments.voltmeter_noise_v, u_frequency_mhz=SKERRY.oscillator.jitter_mhz)


def cold_truth(table):
    """What the bench's counter would show at the last reading's time with ``PLACES`` on its voltmeter."""
    meters, last_s = SKERRY.instruments, 240.0 + float(table["time_s"].iloc[-1])
    true_v = PLACES / (1 + meters.voltmeter_error)
    frequency = oscillator_frequency(true_v, last_s, float(table["temperature_c"].mean()))
    return frequency * (1 + meters.counter_error)


@pytest.mark.parametrize("time_constant_s", [1560.0, 780.0, 390.0])
def test_a_warm_up_with_return_leaves_no_bias(time_constant_s):
    added = warm_up_mhz(TIME_S, time_constant_s)
    z = np.array(
        [
            pulls(fit_vco(run(seed=seed, added_mhz=added, time_s=TIME_S)), resonance_mhz(PLACES))
            for seed in range(200, 240)
        ]
    )
    assert abs(np.mean(z)) < 0.6
    assert 0.6 < np.sqrt(np.mean(z**2)) < 1.3
    assert np.mean(np.abs(z) < 1.96) > 0.9


def test_a_cold_sweep_of_the_bench_leaves_no_bias():
    z = []
    for seed in range(40):
        table = cold_sweep(seed)
        z.append(pulls(fit_vco(table), cold_truth(table)))
    assert abs(np.mean(z)) < 0.5
    assert 0.6 < np.std(z) < 1.3
    assert np.max(np.abs(z)) < 4


def test_a_drift_brings_its_bend_and_the_doubt_about_it():
    straight = fit_vco(run(added_mhz=0.2 * np.linspace(1, 0, 32), time_s=TIME_S))
    bend = check(straight, "bend of the drift")
    assert bend.passed
    assert "its doubt is in the band" in bend.detail
    assert "bend of the drift" in straight.fit.budget(straight.frequency(6.0))
    assert "bend of the drift (MHz)" in straight.fit.parameters
    still = fit_vco(run(time_s=TIME_S))
    assert "bend of the drift" not in {c.name for c in still.fit.checks}


def test_a_strong_bend_belongs_to_the_drift_that_fails_and_names_its_shape():
    vco = fit_vco(cold_sweep(1, interval_s=75.0))
    bend = check(vco, "bend of the drift")
    assert bend.passed
    assert "an exponential" in bend.detail
    assert "modelled because the drift is, whose own check fails" in bend.detail
    assert not check(vco, "drift with time").passed


def test_the_drift_check_states_one_test_value():
    detail = check(fit_vco(run(added_mhz=warm_up_mhz(TIME_S), time_s=TIME_S)), "drift with time").detail
    size, u, ratio = re.search(r"([+-][\d.]+) \+- ([\d.]+) kHz .*?, ([\d.]+) standard uncertainties", detail).groups()
    assert abs(float(size)) / float(u) == pytest.approx(float(ratio), rel=0.06)
    assert detail.count("standard uncertainties") == 1


def test_bend_shapes_stand_for_the_last_reading():
    shapes = bend_shapes(np.array([-9.0, -4.0, -1.0, 0.0]))
    assert len(shapes) > 2
    for shape in shapes.values():
        assert shape[[0, -1]] == pytest.approx([0.0, 0.0], abs=1e-12)
        assert np.ptp(shape) == pytest.approx(1.0)


@pytest.mark.parametrize("drive_v", [ONE_WAY, ONE_WAY[::-1], np.repeat(ONE_WAY, 2)])
def test_a_one_way_sweep_fails_one_check(drive_v):
    vco = fit_vco(run(drive_v=drive_v))
    (failed,) = vco.fit.failed
    assert failed.name == "drift with order"
    assert "comes back to no voltage" in failed.detail
    assert CAUSE in failed.detail
    assert failed.at_stake_mhz == pytest.approx(0.1)
    way = "above" if drive_v[0] > drive_v[-1] else "below"
    assert f"holds for voltages set from {way} only" in check(vco, "up/down difference").detail


def test_a_one_way_sweep_of_a_cold_oscillator_is_within_its_uncertainty():
    time_s = TIME_S[:21]
    for seed in range(8):
        vco = fit_vco(run(seed=seed, drive_v=ONE_WAY, added_mhz=warm_up_mhz(time_s), time_s=time_s))
        assert np.max(np.abs(pulls(vco, resonance_mhz(PLACES)))) < 2.5
        assert [c.name for c in vco.fit.failed] == ["drift with time"]
    assert vco.frequency(1.5).n - resonance_mhz(1.5) > 0.05
    assert vco.fit.budget(vco.frequency(1.5))[CAUSE] > 0.8


def test_an_untold_drift_is_one_shared_cause():
    vco = fit_vco(run(drive_v=ONE_WAY))
    first, middle, last = vco.frequency([0.3, 7.15, 14.0])
    shares = [vco.fit.budget(f).get(CAUSE, 0.0) * f.s**2 for f in (first, middle, last)]
    assert np.sqrt(shares) == pytest.approx([0.1, 0.05, 0.0], abs=1e-3)
    assert (first - 2 * middle).s < 0.05
    parameters = list(vco.fit.parameters.values())
    assert vco.fit.covariance[0, 0] == pytest.approx(parameters[0].s ** 2, rel=1e-6)


@pytest.mark.parametrize("drive_v", [there_and_back(), np.insert(ONE_WAY, range(0, 22, 5), 5.0)])
def test_a_return_or_a_reference_needs_no_such_cause(drive_v):
    vco = fit_vco(run(drive_v=drive_v))
    assert check(vco, "drift with order").passed
    assert CAUSE not in vco.fit.budget(vco.frequency(1.0))


def test_a_long_cold_sweep_is_nearly_free_of_bias():
    z = [pulls(fit_vco(table), cold_truth(table)) for table in (cold_sweep(seed, 75.0) for seed in range(30))]
    assert abs(np.mean(z)) < 1.1
    assert np.sqrt(np.mean(np.square(z))) < 1.3
    assert np.mean(np.abs(z) < 1.96) > 0.9


def test_the_one_reading_that_tells_a_drift_is_not_judged_by_the_others(demo):
    """One way up and the reference once more: that last row alone tells the drift, so nothing says that it is wrong."""
    table = demo.readings("oscillator").table
    up = table[table.direction == "up"]
    run = (up.time_s - up.time_s.min()) / np.ptp(up.time_s)
    fit = fit_vco(up.assign(frequency_mhz=up.frequency_mhz + 0.12 * run)).fit
    assert [c.name for c in fit.checks if not c.passed] == ["drift with time"]
