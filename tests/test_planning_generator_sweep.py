"""Sine sweeps: windows against the differential equation of the port played densely, and against local slopes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from scipy import integrate
from uncertainties import nominal_value

from aotf_lab.errors import AotfLabError
from aotf_lab.planning.generator import generator_output, sine_sweep
from aotf_lab.planning.generator.output import Output
from tests.test_planning_generator import GENERATOR, PAIR, PORT, output


def played(demo, sweep, line):
    """When the line has half of its light or more: the port's equation integrated, the curve asked at every time."""
    typed = sweep.typed["high impedance"]
    omega, tau = 2e-3 * np.pi * sweep.rate_khz, 1e3 / (2 * np.pi * 180.0)
    period = 1e3 / sweep.rate_khz
    lead = period * np.ceil(20 * tau / period)
    time = np.linspace(lead, lead + 2 * period, 40001)

    def slope(t, y):
        made = typed.offset_v + typed.amplitude_vpp / 2 * np.sin(omega * t)
        return (made / 1.05 - y) / tau

    port = integrate.solve_ivp(slope, (0, time[-1]), [typed.offset_v / 1.05], t_eval=time, rtol=1e-9, atol=1e-11).y[0]
    grid = np.linspace(*demo.vco.range_v, 2001)
    frequency = np.interp(port, grid, [f.n for f in demo.vco.frequency(grid)])
    scan = demo.scans[line]
    lit = np.abs(frequency - scan.centre_mhz.n) <= scan.fwhm_mhz.n / 2
    starts = time[1:][~lit[:-1] & lit[1:]] - lead
    stops = time[1:][lit[:-1] & ~lit[1:]] - lead
    return starts, stops


@pytest.mark.parametrize(("rate_khz", "asked"), [
    (1.0, {}), (20.0, {}), (120.0, {}), (20.0, {"centre_v": 6.1, "amplitude_vpp": 1.38}),
    (20.0, {"centre_v": 5.0, "amplitude_vpp": 3.46}),
])  # fmt: skip
def test_windows_are_those_of_the_port_played(demo, rate_khz, asked):
    sweep = sine_sweep(demo, PAIR, output(), rate_khz=rate_khz, **asked)
    period = 1e3 / rate_khz
    for line in PAIR:
        starts, stops = played(demo, sweep, line)
        assert len(starts) == 2 * len(sweep.of(line))
        for window in sweep.of(line):
            start, stop = (float(nominal_value(v)) for v in (window.start_us, window.stop_us))
            assert np.abs(starts - start).min() < 2e-3 * period
            assert np.abs(stops - stop).min() < 2e-3 * period


def test_dwell_is_the_width_over_the_local_rate(demo):
    sweep = sine_sweep(demo, PAIR, output(), rate_khz=20.0, centre_v=6.1, amplitude_vpp=4.0)
    for line in PAIR:
        for window in sweep.of(line):
            local = demo.scans[line].fwhm_mhz / window.rate_mhz_per_us
            assert window.dwell_us.n == pytest.approx(local.n, rel=0.003)
    assert [w.way for w in sweep.of("D")] == ["rising", "falling"]
    assert sweep.of("D")[0].dwell_us.n == pytest.approx(sweep.of("D")[1].dwell_us.n)


def test_uncertainty_of_a_window_is_that_of_drawn_generators(demo):
    sweep = sine_sweep(demo, ["D"], output(), rate_khz=20.0, centre_v=6.3, amplitude_vpp=4.0)
    rng = np.random.default_rng(3)
    n = 100_000
    low, high = sweep.edges_v["D"]
    errors = rng.standard_normal((6, n))
    typed = sweep.typed["high impedance"]
    share = (1000 + 10 * errors[0]) / (1000 + 10 * errors[0] + 50 + 0.5 * errors[1])
    centre = (typed.offset_v * (1 + 0.01 * errors[2]) + 0.002 * errors[3]) * share
    bandwidth = 180 * (1 + 0.05 * errors[4])
    half = typed.amplitude_vpp / 2 * (1 + 0.01 * errors[5]) * share / np.hypot(1, 20.0 / bandwidth)
    delay = 1e3 * np.arctan(20.0 / bandwidth) / (2 * np.pi * 20.0)
    start, stop = (delay + 1e3 * np.arcsin((v.n - centre) / half) / (2 * np.pi * 20.0) for v in (low, high))
    first = sweep.of("D")[0]
    assert first.start_us.s == pytest.approx(np.std(start), rel=0.03)
    assert first.dwell_us.s == pytest.approx(np.std(stop - start), rel=0.08)
    assert first.dwell_us.s < 0.1 * first.start_us.s


def test_the_pole_is_said_and_the_choice_makes_up_for_it(demo):
    slow, fast = (sine_sweep(demo, PAIR, output(), rate_khz=r) for r in (1.0, 150.0))
    assert fast.half_v.n == pytest.approx(slow.half_v.n, rel=0.005)
    assert fast.typed["50 ohm"].amplitude_vpp > 1.2 * slow.typed["50 ohm"].amplitude_vpp
    pole = next(c for c in fast.checks if c.name == "pole")
    assert not pole.passed
    assert "150 kHz on a port of 180 kHz leaves 76.8 % of the amplitude" in pole.detail
    assert next(c for c in slow.checks if c.name == "pole").passed
    unknown = sine_sweep(demo, PAIR, generator_output(GENERATOR, replace(PORT, port_bandwidth_khz=None)), rate_khz=20.0)
    assert unknown.delay_us == 0
    assert "port_bandwidth_khz is not stated" in str(unknown)


def test_a_line_that_is_never_lit_and_one_at_the_turn(demo):
    sweep = sine_sweep(demo, ["D", "E", "G"], output(), rate_khz=20.0, centre_v=6.1, amplitude_vpp=1.38)
    assert sweep.of("G") == ()
    assert "never lit: G" in str(sweep)
    assert [w.way for w in sweep.of("D")] == ["turning"]
    assert "the sine turns within" in str(sweep)


def test_one_line_alone_is_passed_in_spite_of_the_generators_error(demo):
    """Its volts are good to 55 mV, the passband is 81 mV wide: half as much room again would not do."""
    sweep = sine_sweep(demo, ["E"], output(), rate_khz=1.0)
    assert [w.way for w in sweep.of("E")] == ["rising", "falling"]
    assert all(c.passed for c in sweep.checks if c.name in ("lit", "turning points"))
    low, high = sweep.edges_v["E"]
    assert sweep.half_v.n == pytest.approx((high.n - low.n) / 2 + 4 * np.hypot(sweep.centre_v.s, high.s), abs=0.002)


def test_a_line_out_of_reach_spoils_no_other(demo):
    sweep = sine_sweep(demo, ["A", "F"], output(), rate_khz=1.0)
    assert len(sweep.of("F")) == 2
    assert sweep.of("A") == ()
    assert "never lit: A; A needs 13.8" in str(sweep)
    assert "beyond what the generator gives" in str(sweep)


def test_tables_text_html_plot(demo, tmp_path):
    sweep = sine_sweep(demo, PAIR, output(), rate_khz=20.0)
    back = pd.read_csv(sweep.to_csv(tmp_path / "sweep.csv"))
    assert len(back) == 4
    assert {"start_us", "u_dwell_us", "share_of_cycle"} <= set(back.columns)
    assert "D rising" in str(sweep)
    assert "<table>" in sweep._repr_html_()
    ax = sweep.plot(Figure().subplots())
    assert [t.get_text() for t in ax.texts] == PAIR
    assert isinstance(sweep.output, Output)
    assert all(0 <= s < 50 for s in back["start_us"])


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"rate_khz": 0.0}, "rate_khz out of bounds; found 0; allowed: a finite number above 0"),
        ({"rate_khz": 1.0, "amplitude_vpp": -1.0}, "amplitude_vpp out of bounds; found -1;"),
        (
            {"rate_khz": 1.0, "centre_v": 9.0, "amplitude_vpp": 4.0},
            "a sine that leaves what can be set; found 7 to 11 V",
        ),
        ({"rate_khz": 1.0, "centre_v": 12.0}, "a sine that leaves what can be set"),
    ],
)
def test_what_is_refused(demo, asked, message):
    with pytest.raises(AotfLabError, match=message):
        sine_sweep(demo, PAIR, output(), **asked)
