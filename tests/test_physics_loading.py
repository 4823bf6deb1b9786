"""Loading against circuit theory solved another way: nodal analysis; the pole by its differential equation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.edges import pole_depth
from aotf_lab.physics.loading import display_share, load_share, open_circuit_volts, pole_delay_us, port_volts


def nodes(source_v, bias_v, source_ohm, input_ohm):
    """Modified nodal analysis (Ho, Ruehli and Brennan, IEEE Trans. Circuits Syst. 22 (1975) 504, from memory).

    Nodes: 1 the ideal source, 2 behind its resistance, 3 the port behind a battery from 2 to 3. Unknown: three node
    voltages and the currents of source and battery.
    """
    g, load = 1 / source_ohm, 1 / input_ohm
    matrix = np.array([
        [g, -g, 0, 1, 0],
        [-g, g, 0, 0, 1],
        [0, 0, load, 0, -1],
        [1, 0, 0, 0, 0],
        [0, -1, 1, 0, 0],
    ])  # fmt: skip
    return np.linalg.solve(matrix, [0, 0, 0, source_v, bias_v])[2]


@pytest.mark.parametrize("seed", range(20))
def test_port_volts_are_those_of_nodal_analysis(seed):
    rng = np.random.default_rng(seed)
    source_v, bias_v = rng.uniform(-10, 10, 2)
    source_ohm, input_ohm = 10 ** rng.uniform(0.5, 3, 2)
    port = port_volts(source_v, source_ohm, input_ohm, bias_v)
    assert port == pytest.approx(nodes(source_v, bias_v, source_ohm, input_ohm), rel=1e-10)
    assert open_circuit_volts(port, source_ohm, input_ohm, bias_v) == pytest.approx(source_v, abs=1e-9)


def test_displays_show_what_stands_across_their_own_resistance():
    for source in (25.0, 50.0, 600.0):
        assert display_share(50.0, source) == pytest.approx(nodes(1.0, 0.0, source, 50.0), rel=1e-12)
        assert display_share(math.inf, source) == 1.0


def test_one_kilohm_takes_one_part_in_twenty_one():
    assert 1 - load_share(50.0, 1000.0) == pytest.approx(1 / 21)


def test_uncertainty_of_the_resistances_is_that_of_draws():
    rng = np.random.default_rng(5)
    source, load = rng.normal(50, 0.5, 200_000), rng.normal(1000, 20, 200_000)
    share = load_share(ufloat(50, 0.5), ufloat(1000, 20))
    assert share.s == pytest.approx(np.std(load / (load + source)), rel=0.01)


@pytest.mark.parametrize("rate_khz", [5.0, 60.0, 180.0, 500.0])
def test_pole_against_its_differential_equation(rate_khz):
    omega, tau = 2e-3 * np.pi * rate_khz, 1e3 / (2 * np.pi * 180.0)
    start, period = 15 * tau, 1e3 / rate_khz
    time = np.linspace(start, start + period, 4001)
    found = integrate.solve_ivp(
        lambda t, y: (np.sin(omega * t) - y) / tau, (0, start + period), [0.0], t_eval=time, rtol=1e-10, atol=1e-12
    ).y[0]
    expected = pole_depth(rate_khz, 180.0) * np.sin(omega * (time - pole_delay_us(rate_khz, 180.0)))
    assert np.abs(found - expected).max() < 2e-6


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: load_share(-1.0, 1000.0), "output resistance .ohm.; found -1; allowed: 0 or more"),
        (lambda: load_share(50.0, 0.0), "input resistance .ohm.; found 0; allowed: above 0"),
        (lambda: pole_delay_us(0.0, 180.0), "modulation frequency .kHz.; found 0; allowed: above 0"),
    ],
)
def test_what_has_no_meaning_is_refused(call, message):
    with pytest.raises(AotfLabError, match=message):
        call()
