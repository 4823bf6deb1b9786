"""Behaviour of the stability of a log: even stretches, noise by name, what was removed, what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver.stability import fit_warm_up, stability
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from tests.test_driver_stability_warm_up import log


def noise(seed=0, n=2000):
    return np.random.default_rng(seed).standard_normal(n)


def test_white_noise_is_named_and_longer_is_better():
    s = stability(64.0 + 1e-3 * noise(), rate_hz=2.0)
    assert s.tau_s[0] == 0.5
    assert s.noise[0] == (0.5, pytest.approx(s.noise[0][1]), "white frequency noise")
    assert s.noise[0][1] >= 16.0
    assert s.deviation_mhz[0] == pytest.approx(1e-3, rel=0.1)
    assert s.best_averaging_s >= 32.0


def test_random_walk_is_named_and_shorter_is_better():
    s = stability(64.0 + 1e-3 * np.cumsum(noise(1)), rate_hz=1.0)
    assert s.noise[0][2] == "random-walk frequency noise"
    assert s.noise[0][1] >= 16.0
    assert s.best_averaging_s == 1.0


def test_counter_resolution_is_phase_noise():
    # Differences of white phase: slope -1.
    s = stability(64.0 + 1e-3 * np.diff(noise(2)), rate_hz=1.0)
    assert "phase noise" in s.noise[0][2]


def test_drift_is_named():
    s = stability(64.0 + 1e-4 * np.arange(500.0) + 1e-5 * noise(3, 500), rate_hz=1.0)
    assert s.noise[-1][2] == "drift"


def test_longest_even_stretch_is_used_and_named():
    t = np.concatenate([np.arange(100.0), 150 + np.arange(300.0)])
    s = stability(pd.DataFrame({"time_s": t, "frequency_mhz": 64.0 + 1e-3 * noise(4, 400)}))
    assert (s.stretch.first, s.stretch.last) == (100, 399)
    check = s.failed[0]
    assert check.name == "even time"
    assert "uneven before row 101: only 300 of 400 readings were used, row 101 to row 400" in check.detail


def test_rounded_stamps_are_even():
    t = np.round(10.3 * np.arange(400.0))
    s = stability(pd.DataFrame({"time_s": t, "frequency_mhz": 64.0 + 1e-3 * noise(5, 400)}))
    assert s.trusted
    assert s.tau_s[0] == pytest.approx(10.3, rel=1e-3)


def test_warm_up_removed_or_not_is_said():
    table = log()
    plain, removed = stability(table), stability(table, warm_up=fit_warm_up(table))
    assert not plain.warm_up_removed
    assert "not removed" in plain.checks[1].detail
    assert removed.warm_up_removed
    assert "exponentials and the effect of the temperature removed" in removed.checks[1].detail
    assert plain.deviation_mhz[-1] > 10 * removed.deviation_mhz[-1]
    assert removed.deviation_mhz[0] == pytest.approx(0.004, rel=0.1)


def test_change_between_averages():
    s = stability(64.0 + 1e-3 * noise(6), rate_hz=1.0)
    assert s.change_mhz(4.0) == pytest.approx(2**0.5 * s.deviation_mhz[2])
    with pytest.raises(OutOfRangeError, match=r"averaging time.*1e\+06 s.*1 to 256 s"):
        s.change_mhz(1e6)


def test_what_is_refused():
    with pytest.raises(AotfLabError, match=r"frequencies without their times; found shape \(9,\), rate None Hz"):
        stability(np.ones(9))
    with pytest.raises(AotfLabError, match=r"a rate beside a log that has its own times; found 1;"):
        stability(log(), 1.0)
    with pytest.raises(ReadingsError, match=r"too few readings for an Allan deviation; found 9; allowed: at least 16"):
        stability(64 + 1e-3 * noise(0, 9), rate_hz=1.0)
    with pytest.raises(ReadingsError, match=r"no Allan deviation from these readings; found 0;"):
        stability(np.full(100, 64.0), rate_hz=1.0)
    with pytest.raises(AotfLabError, match=r"a warm-up of another log; found 720 readings.*that of these 600 readings"):
        stability(log().head(600), warm_up=fit_warm_up(log()))


def test_text_and_plot():
    s = stability(64.0 + 1e-3 * noise(7), rate_hz=1.0)
    assert "best averaging time" in str(s)
    assert s._repr_html_().startswith("<pre>")
    ax = s.plot()
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log")
