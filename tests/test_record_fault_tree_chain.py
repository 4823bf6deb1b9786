"""What each reading becomes, and its mean and covariance, against sources outside the project."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.record.fault_tree.chain import READINGS, Chain, StoredDay, rise_past_edge, share_through_slit
from aotf_lab.record.fault_tree.evidence import evidence_of
from aotf_lab.record.fault_tree.fitted import fitted, foretold
from aotf_lab.record.fault_tree.known import causes, readings
from tests.house import published


def seen(name, stored, **state):
    chain = Chain(
        StoredDay({n: np.array([v]) for n, v in stored.items()}), {n: np.array([v]) for n, v in state.items()}
    )
    return float(np.ravel(READINGS[name][1](chain))[0])


def test_malus():
    # I = I0 cos^2: 3/4, 1/2, 1/4 at 30, 45, 60 deg (Born & Wolf, Principles of Optics; any textbook).
    light = [seen("light_mw", {"light_mw": 1.0}, turn_deg=a) for a in (30.0, 45.0, 60.0)]
    assert light == pytest.approx([0.75, 0.5, 0.25])


def test_half_a_width_off_the_peak_half_the_light_is_left_at_any_drive():
    for ratio in (0.01, 0.5, 1.0, 1.5):
        day = {"light_mw": 1.0, "fwhm_mhz": 0.29, "drive_ratio": ratio}
        assert seen("light_mw", day, oscillator_mhz=0.145) == pytest.approx(0.5, abs=1e-9)
        assert seen("light_mw", day, mount_mhz=0.145) == pytest.approx(0.5, abs=1e-9)
        assert seen("light_best_frequency_mw", day, oscillator_mhz=0.145) == pytest.approx(1.0)


def test_width_at_full_drive_over_that_of_weak_drive_is_the_published_one():
    facts = {r["fact"]: r["value"] for r in published("acousto_optics_facts.csv")}
    known = float(facts["passband FWHM at P=P_sat / FWHM at weak drive"])
    width = seen("fwhm_mhz", {"fwhm_mhz": 1.0, "drive_ratio": 0.0001}, rf_db=40.0)
    assert width == pytest.approx(known, abs=1e-4)


def test_beyond_full_drive_more_power_gives_less_light():
    # sin^2((pi/2) sqrt(P/P_sat)): 1/2 at P = 2.25 P_sat (coupled-mode theory, Yariv & Yeh).
    day = {"light_mw": 1.0, "drive_ratio": 1.0}
    assert seen("light_mw", day, rf_db=10 * np.log10(2.25)) == pytest.approx(0.5)
    assert seen("light_mw", day, rf_db=10 * np.log10(0.25)) == pytest.approx(0.5)
    assert seen("light_half_rf_mw", day, rf_db=10 * np.log10(2.25)) > 0.9


def test_the_rise_past_an_edge_is_that_of_a_truncated_normal():
    for share in (0.9, 0.5, 0.2):
        cut = stats.truncnorm(stats.norm.isf(share), np.inf)
        whole = stats.norm.ppf(0.9) - stats.norm.ppf(0.1)
        assert float(rise_past_edge(np.array(share))) == pytest.approx(
            np.diff(cut.ppf([0.1, 0.9]))[0] / whole, rel=1e-9
        )


def test_the_share_through_a_slit():
    # Within +- 2 standard deviations, the 1/e^2 diameter, lies 95.45 % of a normal distribution (handbook).
    assert float(share_through_slit(np.array(1.0), np.array(1.0))) == pytest.approx(0.9545, abs=5e-5)


def test_return_loss_of_the_power_that_is_let_in():
    # Return loss 13 dB lets 1 - 10^-1.3 = 0.9499 in; half of that leaves 0.5251 reflected: 2.80 dB.
    assert seen("return_loss_db", {"return_loss_db": 13.0}, match_db=10 * np.log10(0.5)) == pytest.approx(
        2.798, abs=2e-3
    )


def test_mean_and_covariance_of_curved_laws_are_those_of_a_million_draws():
    stored = {"light_mw": ufloat(1.0, 0.01), "fwhm_mhz": ufloat(0.29, 0.005), "frequency_mhz": ufloat(64.23, 0.010)}
    wander = {"oscillator_mhz": 0.02, "turn_deg": 3.0, "laser_ln": 0.02}
    today = {"light_mw": ufloat(0.9, 0.01), "frequency_mhz": ufloat(64.2, 0.004)}
    found = evidence_of(today, stored, wander).moments("", np.zeros(1))
    rng = np.random.default_rng(4)
    n = 1_000_000
    numbers = {k: rng.normal(v.n, v.s, n) for k, v in stored.items()}
    state = {k: rng.normal(0.0, u, n) for k, u in wander.items()}
    chain = Chain(StoredDay(numbers), state)
    drawn = np.stack([READINGS[k][1](chain) + rng.normal(0.0, v.s, n) for k, v in today.items()])
    assert found.mean[0] == pytest.approx(drawn.mean(axis=1), abs=1e-3)
    assert np.sqrt(np.diag(found.covariance[0])) == pytest.approx(drawn.std(axis=1), rel=0.03)


def test_light_beside_a_frequency_that_is_off_is_that_of_the_draws_with_this_frequency():
    wander, off = {"oscillator_mhz": 0.015}, 0.045
    stored = {"light_mw": 1.0, "fwhm_mhz": 0.29, "frequency_mhz": 64.0}
    today = {"light_mw": ufloat(0.9, 0.01), "frequency_mhz": ufloat(64.0 + off, 0.004)}
    evidence = evidence_of(today, stored, wander)
    rng = np.random.default_rng(8)
    shift = rng.normal(0.0, 0.015, 4_000_000)
    near = np.abs(shift + rng.normal(0.0, 0.004, shift.size) - off) < 0.001
    chain = Chain(StoredDay({n: np.array([v]) for n, v in stored.items()}), {"oscillator_mhz": shift[near]})
    light = READINGS["light_mw"][1](chain) + rng.normal(0.0, 0.01, int(near.sum()))
    errors = []
    for found in (evidence.settled("", 0.0), evidence.moments("", np.zeros(1))):
        mean, whole = found.mean[0], found.covariance[0]
        gain = whole[0, 1] / whole[1, 1]
        errors.append((mean[0] + gain * (64.0 + off - mean[1]) - light.mean()) / light.std())
    spread = evidence.settled("", 0.0).covariance[0]
    assert abs(errors[0]) < 0.1
    assert abs(errors[1]) > 1.0  # what the expansion about zero would say
    assert (spread[0, 0] - spread[0, 1] ** 2 / spread[1, 1]) ** 0.5 == pytest.approx(light.std(), rel=0.05)


def test_the_size_of_a_cause_is_that_of_weighted_least_squares():
    # One change that moves both readings in proportion: the weighted mean and its u (Bevington, ch. 4).
    stored = {"box_c": 20.0, "frequency_mhz": 64.0, "mhz_per_k": -0.05, "fwhm_mhz": 0.3}
    today = {"box_c": ufloat(23.2, 0.1), "frequency_mhz": ufloat(63.856, 0.010)}
    found = fitted(evidence_of(today, stored, {}), causes()["box"])
    by = np.array([3.2, 0.144 / 0.05])
    u = np.array([0.1, 0.010 / 0.05])
    weight = u**-2 / np.sum(u**-2)
    assert found.size == pytest.approx(weight @ by, abs=1e-6)
    assert found.u_size == pytest.approx(np.sum(u**-2) ** -0.5, rel=1e-4)
    assert found.chi2 == pytest.approx(np.sum(((by - weight @ by) / u) ** 2), rel=1e-6)


def test_what_a_further_reading_would_show_is_the_conditional_mean():
    # Rasmussen & Williams, Gaussian Processes for Machine Learning, eq. A.6: mu_x + C B^-1 (y - mu_y).
    stored = {"light_mw": ufloat(1.0, 0.03), "incident_mw": 2.0}
    today = {"light_mw": ufloat(0.53, 0.01)}
    evidence = evidence_of(today, stored, {"laser_ln": 0.0})
    cause = fitted(evidence, causes()["laser"])
    found = foretold(evidence, cause, "light_best_frequency_mw")
    share = np.exp(cause.size)
    gain = (0.03 * share) ** 2 / ((0.03 * share) ** 2 + 0.01**2)
    assert found == pytest.approx(share + gain * (0.53 - share), abs=1e-6)


def test_every_reading_has_a_law_and_every_law_a_reading():
    assert set(READINGS) == set(readings())
