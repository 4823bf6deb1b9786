"""The simulated trace of an edge and table of depths are read, and give back the bench's truth."""

from __future__ import annotations

import numpy as np
from uncertainties import ufloat

from aotf_lab.reading.edge import read_edge
from aotf_lab.reading.modulation import read_modulation
from aotf_lab.simulate.edge import edge_text, modulation_depth_text
from aotf_lab.timing.depth import fit_modulation_depth
from aotf_lab.timing.edge import fit_edge

TRANSIT, DELAY = 1e3 * 1.6 / 643.4, 6e3 / 643.4
PORT = ufloat(180.0, 4.0)


def test_the_edge_of_the_demo_bench(log):
    table = read_edge(log(edge_text(np.random.default_rng(3)), "edge.csv"))
    found = fit_edge(table, detector_rise_us=0.22, scope_bandwidth_mhz=200.0, port_bandwidth_khz=PORT,
                     beam_diameter_mm=ufloat(1.6, 0.01), velocity_m_s=643.4)  # fmt: skip
    assert abs(found.transit_us.n - TRANSIT) < 3.5 * found.transit_us.s
    assert abs(found.delay_us.n - DELAY) < 3.5 * found.delay_us.s
    assert found.transit_us.s < 0.1
    assert found.fit.trusted, found


def test_the_modulation_of_the_demo_bench(log):
    table = read_modulation(log(modulation_depth_text(np.random.default_rng(3)), "modulation_depth.csv"))
    found = fit_modulation_depth(table, port_bandwidth_khz=PORT, detector_rise_us=0.22)
    assert abs(found.transit_us.n - TRANSIT) < 3.5 * found.transit_us.s
    assert found.half_khz.n < 0.8 * found.beam_half_khz.n
    assert found.fit.trusted, found


def test_the_same_seed_gives_the_same_files():
    for text in (edge_text, modulation_depth_text):
        assert text(np.random.default_rng(7)) == text(np.random.default_rng(7))
        assert text(np.random.default_rng(7)) != text(np.random.default_rng(8))
