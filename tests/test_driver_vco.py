"""The oscillator's curve: both directions, its band, its correlations, its limits."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

from aotf_lab.driver import fit_vco
from aotf_lab.errors import OutOfRangeError
from aotf_lab.estimation.causes import CommonError, new_cause
from aotf_lab.reading.readings import Readings
from tests.driver_oscillator import resonance_mhz, run, there_and_back

PLACES = np.linspace(0.3, 14.0, 30)


@pytest.fixture(scope="module")
def vco():
    return fit_vco(run())


@pytest.fixture
def clocked():
    clock = CommonError("time base", "frequency_mhz", "relative", new_cause("time base", 20e-6))
    gain = CommonError("voltmeter gain", "drive_v", "relative", new_cause("voltmeter gain", 1.2e-3))
    offset = CommonError("voltmeter offset", "drive_v", "offset", new_cause("voltmeter offset", 1.5e-3))
    return fit_vco(Readings(run(), (clock, gain, offset))), fit_vco(Readings(run(seed=2), (clock,)))


def test_frequency_is_right_within_its_uncertainty(vco):
    pulls = [(f.n - true) / f.s for f, true in zip(vco.frequency(PLACES), resonance_mhz(PLACES), strict=True)]
    assert np.max(np.abs(pulls)) < 3.5
    assert 0.2 < np.std(pulls) < 2
    assert max(f.s for f in vco.frequency(PLACES)) < 0.1


def test_drive_is_right_within_its_uncertainty(vco):
    pulls = [(v.n - true) / v.s for v, true in zip(vco.drive(resonance_mhz(PLACES)), PLACES, strict=True)]
    assert np.max(np.abs(pulls)) < 3.5


def test_sensitivity_is_the_slope(vco):
    true = (resonance_mhz(PLACES + 1e-4) - resonance_mhz(PLACES - 1e-4)) / 2e-4
    pulls = [(s.n - t) / s.s for s, t in zip(vco.sensitivity(PLACES), true, strict=True)]
    assert np.max(np.abs(pulls)) < 3.5
    step = (vco.frequency(6.001) - vco.frequency(5.999)) / 0.002
    assert vco.sensitivity(6.0).n == pytest.approx(step.n, rel=1e-5)
    assert vco.sensitivity(6.0).s == pytest.approx(step.s, rel=1e-3)


def test_there_and_back_is_exact(vco):
    back = vco.drive(vco.frequency(6.0))
    assert back.n == pytest.approx(6.0, abs=1e-9)
    assert back.s < 1e-9
    assert vco.frequency(vco.drive(70.0)).s < 1e-9


def test_scalar_and_array(vco):
    scalar, array = vco.frequency(5.0), vco.frequency([5.0, 6.0])
    assert array.shape == (2,)
    assert (scalar - array[0]).s < 1e-12
    assert vco.drive(np.array([60.0, 70.0])).shape == (2,)


def test_uncertain_argument_keeps_its_correlation(vco):
    setting = ufloat(5.0, 0.01)
    shifted = vco.frequency(setting) - vco.frequency(5.0)
    assert shifted.s == pytest.approx(0.01 * vco.sensitivity(5.0).n, rel=1e-6)
    assert (shifted - vco.sensitivity(5.0).n * (setting - 5.0)).s < 1e-9
    asked = ufloat(70.0, 0.02)
    moved = vco.drive(asked) - vco.drive(70.0)
    assert moved.s == pytest.approx(0.02 / vco.sensitivity(vco.drive(70.0).n).n, rel=1e-6)


def test_difference_of_near_points_is_surer_than_either(vco):
    near = vco.frequency(6.01) - vco.frequency(6.0)
    assert near.s < 0.05 * vco.frequency(6.0).s


def test_values_and_parameters_are_one_covariance(vco):
    names = list(vco.fit.parameters)
    covariance = np.array(covariance_matrix([vco.fit.parameters[n] for n in names]))
    assert covariance == pytest.approx(vco.fit.covariance, rel=1e-5, abs=1e-9)
    node = vco.curve.nodes[4]
    assert (vco.frequency(node) - vco.fit.parameters[names[4]]).s < 1e-9


def test_budget_names_scatter_form_and_time_base(clocked):
    budget = clocked[0].fit.budget(clocked[0].frequency(13.0))
    assert set(budget) == {"scatter of the oscillator readings", "form of the oscillator curve", "time base"}
    assert sum(budget.values()) == pytest.approx(1.0)


def test_two_curves_of_one_counter_share_its_time_base(clocked):
    first, second = (v.frequency(13.0) for v in clocked)
    shared = (first.s**2 + second.s**2 - (first - second).s ** 2) / 2
    assert shared == pytest.approx((20e-6 * first.n) ** 2, rel=1e-3)


def test_the_voltmeter_matters_only_where_something_else_sets_the_voltage(clocked):
    vco = clocked[0]
    shown, true = vco.drive(80.0), vco.drive_true(80.0)
    assert set(vco.fit.budget(shown)) & {"voltmeter gain", "voltmeter offset"} == set()
    assert (true - shown).s == pytest.approx(np.hypot(1.2e-3 * shown.n, 1.5e-3), rel=1e-6)
    assert vco.frequency_at_true(true).n == pytest.approx(80.0, abs=1e-6)
    assert vco.frequency_at_true(true).s < 1e-6
    at_true = vco.frequency_at_true(8.0)
    expected = np.hypot(vco.frequency(8.0).s, vco.sensitivity(8.0).n * np.hypot(1.2e-3 * 8.0, 1.5e-3))
    assert at_true.s == pytest.approx(expected, rel=1e-3)
    assert len(vco.drive_true([60.0, 70.0])) == 2


def test_the_bands_hold_what_they_say(vco):
    low, high = vco.band(PLACES)
    next_low, next_high = vco.prediction_band(PLACES)
    assert np.all((next_low < low) & (low < high) & (high < next_high))
    narrow = vco.band(PLACES, 0.5)
    assert np.all(narrow[1] - narrow[0] < high - low)
    u = np.array([f.s for f in vco.frequency(PLACES)])
    assert (high - low) / (2 * u) == pytest.approx(1.95996, rel=1e-4)
    inside = []
    for seed in range(100, 130):
        fresh = run(seed=seed, drive_v=PLACES)["frequency_mhz"].to_numpy()
        inside.append(np.mean((fresh > next_low) & (fresh < next_high)))
    assert 0.90 < np.mean(inside) < 0.99


def test_outside_the_range_is_refused(vco):
    with pytest.raises(OutOfRangeError, match=r"drive voltage .*found 14\.1 V; allowed: 0\.3 to 14 V; ask at 14 V"):
        vco.frequency(14.1)
    with pytest.raises(OutOfRangeError, match=r"drive voltage .*found 0\.29 V; allowed: 0\.3 to 14 V"):
        vco.sensitivity([1.0, 0.29])
    with pytest.raises(OutOfRangeError, match=r"frequency .*found 200 MHz; allowed: .* MHz; ask at"):
        vco.drive(200.0)


def test_an_end_is_known_to_its_own_uncertainty_only(vco):
    end = vco.range_mhz[1]
    beyond = vco.drive(end + 2 * vco.frequency(14.0).s)
    assert beyond.n == pytest.approx(14.0)
    assert beyond.s == pytest.approx(vco.frequency(14.0).s / vco.sensitivity(14.0).n)


def test_unclear_places_are_less_sure():
    full = there_and_back()
    gap = full[(full < 5.0) | (full > 8.0)]
    u_gap, u_full = fit_vco(run(drive_v=gap)).frequency(6.5).s, fit_vco(run()).frequency(6.5).s
    assert u_gap > 1.5 * u_full


def test_it_says_what_it_found(vco):
    text = str(vco)
    assert "32 readings" in text
    assert "MHz/V" in text
    assert "chi2/dof" in text
    assert vco._repr_html_().startswith("<pre>Oscillator")


def test_plot_returns_the_axes(vco):
    figure, given = plt.subplots()
    assert vco.plot(given) is given
    plt.close(figure)
    own = fit_vco(run(direction=["up"] * 21 + ["down"] * 11)).plot()
    assert own.get_xlabel() == "Drive voltage V (V)"
    plt.close(own.figure)
