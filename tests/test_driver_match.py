"""The match at the crystal's connector: bounds, bands, and what is refused."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver.match import fit_match, optical_window
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from aotf_lab.reading.coupler import read_reflection
from aotf_lab.reading.touchstone import read_touchstone
from aotf_lab.simulate.match import SKERRY_MATCH, match_file, true_reflection


def table(frequency, reflection):
    reflection = np.asarray(reflection, dtype=complex)
    return pd.DataFrame({"frequency_mhz": frequency, "s11_re": reflection.real, "s11_im": reflection.imag})


@pytest.fixture
def simulated(log):
    text = match_file(np.random.default_rng(5))
    return fit_match(read_touchstone(log(text, "match.s1p")), directivity_db=SKERRY_MATCH.directivity_db)


def test_the_bounds_hold_the_true_return_loss_at_every_frequency(simulated):
    frequency = np.linspace(41.0, 99.0, 300)
    truth = -20 * np.log10(np.abs(true_reflection(frequency)))
    low, high = simulated.return_loss_bounds_db(frequency)
    slack = 0.15  # dB: noise of the analyser, and straight lines between frequencies
    assert np.all(truth > low - slack)
    assert np.all(truth < high + slack)


def test_u_of_the_absorbed_share_is_that_of_a_leak_with_any_phase():
    rng = np.random.default_rng(2)
    true, leak = 0.3, 10 ** (-25 / 20)
    shown = np.abs(true + leak * np.exp(1j * rng.uniform(0, 2 * np.pi, 20000)))
    match = fit_match(table([50.0, 60.0, 70.0], [true] * 3), directivity_db=25)
    assert match.absorbed(60.0).n == pytest.approx(1 - true**2)
    assert match.absorbed(60.0).s == pytest.approx(np.std(1 - shown**2), rel=0.1)


def test_matched_bands_end_where_the_limit_is_crossed():
    frequency = np.array([50.0, 60.0, 70.0, 80.0])
    match = fit_match(table(frequency, [0.5, 0.1, 0.1, 0.5]), directivity_db=200)
    limit = 10**-0.5
    edge = 50 + 10 * (0.5 - limit) / 0.4
    (band,) = match.matched_bands(10.0)
    assert band == pytest.approx((edge, 130 - edge))
    assert match.matched_bands(30.0) == ()
    assert match.matched_bands(5.0) == ((50.0, 80.0),)


def test_a_sure_band_is_narrower_by_the_leak():
    frequency = np.array([50.0, 60.0, 70.0])
    match = fit_match(table(frequency, [0.4, 0.1, 0.4]), directivity_db=20)
    (sure,) = match.matched_bands(10.0)
    (shown,) = match.matched_bands(10.0, sure=False)
    assert sure[0] - shown[0] == pytest.approx(10 * 0.1 / 0.3, rel=1e-2)


def test_forward_and_reflected_voltages_give_the_size(log):
    path = log("Frequency (MHz),Forward (mV),Reflected (mV)\n50,200,40\n60,210,21\n70,190,57\n")
    match = fit_match(read_reflection(path), directivity_db=30)
    assert match.reflection_size([50.0, 60.0, 70.0]) == pytest.approx([0.2, 0.1, 0.3])
    assert match.return_loss_db(60.0) == pytest.approx(20.0)


def test_a_cable_hides_reflection_twice():
    match = fit_match(table([50.0, 60.0, 70.0], [0.2] * 3), directivity_db=40, cable_loss_db=1.0)
    assert match.return_loss_db(60.0) == pytest.approx(-20 * np.log10(0.2) - 2.0)


def test_rows_may_come_in_any_order():
    one = fit_match(table([70.0, 50.0, 60.0], [0.3, 0.1, 0.2]), directivity_db=40)
    assert one.reflection_size([50.0, 60.0, 70.0]) == pytest.approx([0.1, 0.2, 0.3])


def test_an_unstated_directivity_is_assumed_and_said():
    match = fit_match(table([50.0, 60.0, 70.0], [0.3] * 3))
    assert [c.name for c in match.checks if not c.passed] == ["directivity"]
    assert "25 dB assumed" in str(match)
    assert "25 dB assumed" in match._repr_html_()


def test_a_reflection_below_the_leak_is_said():
    match = fit_match(table([50.0, 60.0, 70.0], [0.3, 0.01, 0.3]), directivity_db=30)
    assert "33 % of the frequencies" in match.checks[0].detail
    assert match.return_loss_bounds_db(60.0)[1] == np.inf


def test_a_coarse_sweep_of_a_long_cable_is_said():
    frequency = np.arange(50.0, 60.0)
    match = fit_match(table(frequency, 0.3 * np.exp(1j * frequency)), directivity_db=40)
    assert not match.checks[1].passed
    assert "measure more closely" in match.checks[1].detail


@pytest.mark.parametrize(
    ("frame", "message"),
    [
        (table([50.0, 60.0], [0.1, 0.1]), "too few frequencies for a match; found 2"),
        (table([50.0, 60.0, 60.0], [0.1] * 3), "stands twice; found 60 MHz"),
        (table([50.0, 60.0, 70.0], [0.1, 1.3, 0.1]), r"more comes back than went in; found \|gamma\| = 1.3"),
        (pd.DataFrame({"frequency_mhz": [1.0, 2.0, 3.0]}), "no column 'forward_v'"),
        (pd.DataFrame({"frequency_mhz": [1.0, 2.0, 3.0], "forward_v": [1.0, 0.0, 1.0], "reflected_v": 0.1}),
         "row 2: forward voltage not above zero; found 0;"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_match_is_refused(frame, message):
    with pytest.raises(ReadingsError, match=message):
        fit_match(frame, directivity_db=30)


def test_a_negative_directivity_is_refused():
    with pytest.raises(ReadingsError, match="directivity_db; found -3"):
        fit_match(table([50.0, 60.0, 70.0], [0.1] * 3), directivity_db=-3)


def test_no_extrapolation_and_no_senseless_limit(simulated):
    with pytest.raises(OutOfRangeError, match="110 MHz"):
        simulated.return_loss_db(110.0)
    with pytest.raises(AotfLabError, match="least return loss; found 0"):
        simulated.matched_bands(0)


def test_the_plot_shows_bound_limit_and_bands(simulated):
    ax = simulated.plot()
    labels = [t.get_text() for t in ax.get_legend().get_texts()]
    assert labels == ["what the directivity leaves open", "as shown", "matched from 10 dB", "matched for sure"]
    plt.close(ax.figure)


def test_the_window_inverts_the_tuning_law():
    from aotf_lab.physics.phase_matching import phase_matched_frequency

    band = tuple(float(phase_matched_frequency(w, 10.6, 5.3, 643.4)) for w in (700.0, 450.0))
    assert optical_window(band, 10.6, 5.3, 643.4) == pytest.approx((450.0, 700.0), abs=1e-3)


def test_a_window_ends_where_the_indices_end():
    low, high = optical_window((1.0, 1000.0), 10.6, 5.3, 643.4)
    assert (low, high) == (400.0, 1000.0)


@pytest.mark.parametrize(
    ("band", "message"),
    [((60.0, 50.0), "band of frequencies; found 60 to 50 MHz"), ((500.0, 600.0), "picks no wavelength of this cut")],
)
def test_a_band_that_picks_nothing_is_refused(band, message):
    with pytest.raises(AotfLabError, match=message):
        optical_window(band, 10.6, 5.3, 643.4)
