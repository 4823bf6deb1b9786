"""What harmonics do to a power from volts rms and from volts peak to peak."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from uncertainties import ufloat

from aotf_lab.driver.waveform import Harmonic, fit_waveform, vpp_excess_range
from aotf_lab.driver.waveform.harmonic import rms_excess, vpp_excess
from aotf_lab.errors import ReadingsError
from tests.driver_traces import trace


def harmonic(order, level_dbc, phase_rad=0.0, u=1e-4) -> Harmonic:
    share = ufloat(10 ** (level_dbc / 10), u)
    return Harmonic(order, share, share, phase_rad, 1e-6)


def wave_of(harmonics, x):
    return np.cos(x) + sum(h.shown.n**0.5 * np.cos(h.order * x - h.phase_rad) for h in harmonics)


def swing(harmonics) -> float:
    """Return the peak-to-peak value by search: the best of a fine grid, refined."""
    x = np.linspace(0, 2 * np.pi, 20001)
    wave = wave_of(harmonics, x)

    def end(sign):
        near = x[int(np.argmax(sign * wave))]
        return -minimize_scalar(
            lambda p: -sign * wave_of(harmonics, p), bounds=(near - 1e-3, near + 1e-3), method="bounded",
            options={"xatol": 1e-9},
        ).fun  # fmt: skip

    return end(1.0) + end(-1.0)


def test_rms_is_ten_per_cent_at_minus_10_dbc():
    assert rms_excess([harmonic(2, -10)]).n == pytest.approx(0.10)
    both = rms_excess([harmonic(2, -10, u=0.01), harmonic(3, -20, u=0.002)])
    assert (both.n, both.s) == pytest.approx((0.11, np.hypot(0.01, 0.002)))
    assert rms_excess([]) == 0


@pytest.mark.parametrize("seed", range(20))
def test_vpp_against_a_search(seed):
    rng = np.random.default_rng(seed)
    wave = [harmonic(k, rng.uniform(-30, -8), rng.uniform(0, 6.3)) for k in (2, 3, 4, 5)]
    assert vpp_excess(wave) == pytest.approx((swing(wave) / 2) ** 2 - 1, abs=2e-5)


def test_vpp_is_up_to_73_per_cent_at_minus_10_dbc():
    # (1 + 10^-0.5)^2 - 1: the volts of an odd harmonic add to those of the fundamental at both ends.
    assert vpp_excess([harmonic(3, -10)]) == pytest.approx(0.7325, abs=1e-4)
    assert vpp_excess_range({3: 0.1})[1] == pytest.approx(0.7325, abs=1e-4)
    # Against the fundamental it flattens the top: cos x - a cos 3x = (1 + 3a) c - 4a c^3, with its top where
    # c^2 = (1 + 3a) / 12a.
    a = 10**-0.5
    top = (1 + 3 * a) * 2 / 3 * ((1 + 3 * a) / (12 * a)) ** 0.5
    assert vpp_excess_range({3: 0.1})[0] == pytest.approx(top**2 - 1, abs=1e-4)
    # Even ones raise one end as they lower the other: cos x + a cos 2x adds nothing until its dip is the lower end.
    assert vpp_excess([harmonic(2, -13)]) == pytest.approx(0.0, abs=2e-3)


@pytest.mark.parametrize("shares", [{2: 0.1}, {3: 0.1}, {2: 0.03, 3: 0.01}, {2: 0.02, 3: 0.02, 4: 0.01, 5: 0.01}])
def test_range_holds_every_phase_and_is_reached(shares):
    least, most = vpp_excess_range(shares)
    rng = np.random.default_rng(0)
    x = np.linspace(0, 2 * np.pi, 1001)
    found = []
    for _ in range(20000 if len(shares) > 2 else 3000):
        wave = np.cos(x) + sum(s**0.5 * np.cos(k * x - rng.uniform(0, 2 * np.pi)) for k, s in shares.items())
        found.append((np.ptp(wave) / 2) ** 2 - 1)
    assert least - 1e-3 <= min(found)
    assert max(found) <= most + 1e-3
    slack = 0.02 if len(shares) < 3 else 0.08
    assert min(found) == pytest.approx(least, abs=slack)
    assert max(found) == pytest.approx(most, abs=slack)
    assert most <= (1 + sum(s**0.5 for s in shares.values())) ** 2 - 1 + 1e-9


def test_range_of_nothing():
    assert vpp_excess_range({}) == (0, 0)
    assert vpp_excess_range({2: 0.0}) == (0, 0)


@pytest.mark.parametrize("shares", [{1: 0.1}, {2: -0.1}, {2: float("nan")}, {0: 0.1}])
def test_shares_that_cannot_be(shares):
    with pytest.raises(
        ReadingsError, match=r"a harmonic of order \d with a share of power that cannot be; found .*; state"
    ):
        vpp_excess_range(shares)


def test_levels_and_limits():
    h = harmonic(2, -20, u=0.001)
    assert h.level_dbc == pytest.approx(-20)
    assert h.highest_dbc == pytest.approx(10 * np.log10(0.012))
    assert h.seen
    none = Harmonic(3, ufloat(-1e-6, 1e-6), ufloat(-1e-6, 1e-6), 0.0, 1e-6)
    assert none.level_dbc == float("-inf")
    assert none.highest_dbc == pytest.approx(10 * np.log10(2e-6))
    assert not none.seen
    assert none.limit_dbc == pytest.approx(10 * np.log10(-np.log(0.002) * 1e-6))


def test_unseen_harmonics_are_seldom_seen():
    # Noise alone passes the detection limit with chance 0.2 %: 4 orders of 150 traces hold 1.2 on average.
    seen = [h.seen for seed in range(150) for h in fit_waveform(trace(samples=500, seed=seed)).harmonics]
    assert sum(seen) <= 6


def test_excess_of_a_trace_is_that_of_the_wave():
    wave = fit_waveform(trace(harmonics={2: (-12, 0.4), 3: (-15, 2.0)}, amplitude_v=0.5, noise_v=0.002))
    assert wave.rms_excess.n == pytest.approx(10**-1.2 + 10**-1.5, abs=3 * wave.rms_excess.s)
    assert wave.rms_excess.s < 3e-4
    true = [harmonic(2, -12, 0.4), harmonic(3, -15, 2.0)]
    assert wave.vpp_excess == pytest.approx((swing(true) / 2) ** 2 - 1, abs=3e-3)
    assert wave.vpp_excess_range[0] <= wave.vpp_excess <= wave.vpp_excess_range[1]
