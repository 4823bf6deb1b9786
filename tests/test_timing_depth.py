"""Depth of modulation against frequency: what comes back, what is named, and errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, ReadingsError
from aotf_lab.physics.edges import beam_depth, pole_depth
from aotf_lab.timing.depth import fit_modulation_depth
from tests.conftest import flat

TRANSIT = 1e3 * 1.6 / 643.4
F = np.array([10.0, 20, 40, 60, 80, 100, 130, 160, 200, 250, 300, 350, 400])


def table(seed=1, port=None, u=0.004, stated=True):
    depth = 0.45 * beam_depth(F, TRANSIT) * (1.0 if port is None else pole_depth(F, port))
    depth = depth + np.random.default_rng(seed).normal(0.0, u, len(F))
    found = pd.DataFrame({"modulation_khz": F, "depth": depth})
    return found.assign(u_depth=u) if stated else found


def within(value, truth, k=3.5):
    return abs(value.n - truth) < k * value.s


def test_the_beam_alone():
    found = fit_modulation_depth(table())
    assert within(found.transit_us, TRANSIT)
    assert within(found.half_khz, 301.42)  # 0.7496 v/D, Young & Yao 1981 from memory
    assert found.half_khz.n == pytest.approx(found.beam_half_khz.n)
    assert found.half_khz.s / found.half_khz.n == pytest.approx(found.transit_us.s / found.transit_us.n, rel=1e-3)
    assert found.f_3db_khz.n / found.half_khz.n == pytest.approx(0.5**0.5)
    assert found.fit.trusted, found


def test_a_port_that_is_stated():
    found = fit_modulation_depth(table(port=180.0), port_bandwidth_khz=ufloat(180.0, 3.0))
    assert within(found.transit_us, TRANSIT)
    half = found.half_khz.n
    assert float(beam_depth(half, found.transit_us.n) * pole_depth(half, found.port_khz.n)) == pytest.approx(0.5)
    assert half < 0.8 * found.beam_half_khz.n
    assert found.fit.trusted, found


def test_a_port_that_is_found():
    found = fit_modulation_depth(table(port=180.0, u=0.001), fit_port=True)
    assert within(found.port_khz, 180.0)
    assert within(found.transit_us, TRANSIT)


def test_a_port_that_was_forgotten_is_named():
    found = fit_modulation_depth(table(port=180.0, u=0.002))
    assert "Gaussian law" in [c.name for c in found.fit.failed]
    assert "a pole (port, detector) is not taken off" in flat(found)


def test_the_scatter_tells_where_u_is_not_stated():
    found = fit_modulation_depth(table(stated=False))
    assert found.fit.noise == pytest.approx(0.004, rel=0.6)
    assert within(found.transit_us, TRANSIT, 4.5)


def test_an_edge_that_agrees_and_one_that_does_not():
    good, bad = (fit_modulation_depth(table(), transit_us=ufloat(t, 0.02)) for t in (TRANSIT, 1.3 * TRANSIT))
    assert good.fit.trusted
    assert [c.name for c in bad.fit.failed] == ["edge and depth agree"]


def test_readings_that_stop_early_are_named():
    found = fit_modulation_depth(table()[:8])
    assert "reaches half depth" in [c.name for c in found.fit.failed]


def test_plot_and_words():
    found = fit_modulation_depth(table(port=180.0), port_bandwidth_khz=180.0)
    assert found.plot().get_xlabel() == "Modulation frequency fm (kHz)"
    assert "<caption>Modulation depth: 13 readings</caption>" in found._repr_html_()
    assert "180 kHz" in str(found)


def test_too_few_readings():
    with pytest.raises(ReadingsError, match="readings of the depth of modulation; found 3"):
        fit_modulation_depth(table()[:3])


def test_no_depth_at_all():
    with pytest.raises(AotfLabError, match="depth of modulation nowhere above zero; found 0"):
        fit_modulation_depth(table().assign(depth=0.0))


def test_a_share_above_one():
    with pytest.raises(AotfLabError, match=r"share of the depth at rest; found 1\.5"):
        fit_modulation_depth(table()).frequency_khz(1.5)


def test_a_port_of_no_bandwidth():
    with pytest.raises(AotfLabError, match=r"port_bandwidth_khz of a modulation; found 0;"):
        fit_modulation_depth(table(), port_bandwidth_khz=0.0)


def test_a_depth_above_one_cannot_be():
    """By its definition, (most - least) / (most + least), for light that is never below the dark."""
    percent = table().assign(depth=lambda d: 100 * d.depth, u_depth=0.4)
    with pytest.raises(
        ReadingsError, match=r"row 1: a depth of modulation above 1; found 4\d\..*look whether it is in per"
    ):
        fit_modulation_depth(percent)
    full = table().assign(depth=lambda d: d.depth / d.depth.max() * 1.01)
    assert fit_modulation_depth(full).depth_at_rest.n == pytest.approx(1.0, abs=0.03)
