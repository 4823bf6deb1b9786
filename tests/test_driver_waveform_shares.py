"""What several traces say together of the driver's harmonics."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from uncertainties import ufloat

from aotf_lab.driver.waveform import Harmonic
from aotf_lab.driver.waveform.shares import typical_harmonics


def wave(shares, withheld=""):
    """Return a stand-in for a waveform: order -> share, or None; a share of 1e-7 lies below the noise."""
    if shares is None:
        return SimpleNamespace(withheld=withheld, harmonics=None)
    harmonics = tuple(Harmonic(k, ufloat(s, 1e-4), ufloat(s, 1e-4), 0.0, 1e-6) for k, s in shares.items())
    return SimpleNamespace(withheld=withheld, harmonics=harmonics)


def test_the_mean_with_the_scatter_from_trace_to_trace():
    (second,) = typical_harmonics([wave({2: 0.010}), wave({2: 0.014}), wave({2: 0.012})])
    assert second.order == 2
    assert second.share.n == pytest.approx(0.012)
    assert second.share.s == pytest.approx(np.std([0.010, 0.014, 0.012], ddof=1))


def test_one_trace_keeps_its_own_uncertainty():
    (second,) = typical_harmonics([wave({2: 0.010})])
    assert second.share.s == pytest.approx(1e-4)


def test_a_harmonic_that_no_trace_shows_is_left_out():
    assert [h.order for h in typical_harmonics([wave({2: 0.01, 4: 1e-7}), wave({2: 0.01, 4: 1e-7})])] == [2]
    assert typical_harmonics([wave({4: 1e-7})]) == ()


def test_a_trace_whose_power_is_withheld_does_not_count():
    (second,) = typical_harmonics([wave({2: 0.010}), wave({2: 0.5}, "withheld"), wave(None)])
    assert second.share.n == pytest.approx(0.010)
    assert typical_harmonics([wave({2: 0.5}, "withheld"), wave(None)]) is None
    assert typical_harmonics([]) is None


def test_the_session_finds_the_harmonics_of_the_simulated_driver(demo):
    found = {h.order: h.share for h in demo.instruments.harmonics}
    for order, level_dbc in ((2, -19.0), (3, -24.0)):
        assert abs(found[order].n - 10 ** (level_dbc / 10)) < 3 * found[order].s
