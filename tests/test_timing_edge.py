"""Edges of switched light: what comes back, what is named, and errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import signal
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, FitError, ReadingsError
from aotf_lab.estimation import variance_shares
from aotf_lab.physics.edges import edge_behind_poles, pole_of_bandwidth_us, pole_of_rise_us
from aotf_lab.timing.edge import fit_edge

RISE, DELAY = 1.593, 9.33
TIME = np.arange(-10.0, 50.0, 0.05)
DRIVE = np.where((TIME >= 0.0) & (TIME < 20.0), 5.2, 4.9)


def seen(seed=1, noise=0.002, poles=(), step=0.15, *, fall=RISE, correlated=0.0, time=TIME):
    """A trace pair: the drive up at 0 us and down at 20 us, the light after the delay, through ``poles``."""
    rng = np.random.default_rng(seed)
    up = edge_behind_poles(time - DELAY, RISE / 2.5631, poles)
    down = edge_behind_poles(time - 20.0 - DELAY, fall / 2.5631, poles)
    white = rng.normal(0.0, noise, len(time) + 50)
    hiss = signal.lfilter([1.0], [1.0, -correlated], white)[50:] * (1.0 - correlated**2) ** 0.5
    light = 0.012 + step * (up - down) + hiss
    drive = np.where((time >= 0.0) & (time < 20.0), 5.2, 4.9)
    return pd.DataFrame({"time_s": 1e-6 * time, "signal_v": light, "drive_v": drive})


def within(value, truth, k=3.5):
    return abs(value.n - truth) < k * value.s


def test_rise_fall_delay_and_transit_come_back():
    found = fit_edge(seen())
    assert found.rise_us is not None
    assert found.fall_us is not None
    assert found.delay_us is not None
    assert within(found.rise_us, RISE)
    assert within(found.fall_us, RISE)
    assert within(found.delay_us, DELAY)
    assert within(found.transit_us, RISE / 0.640776)
    assert found.transit_us.s < 0.05
    assert found.fit.trusted, found


def test_the_light_alone_gives_no_delay():
    found = fit_edge(seen().drop(columns="drive_v"))
    assert found.delay_us is None
    assert within(found.rise_us, RISE)


def test_one_edge_is_enough():
    found = fit_edge(seen()[:700])
    assert found.fall_us is None
    assert within(found.rise_us, RISE)
    assert "not in the trace" in str(found)


def test_detector_and_scope_are_taken_off():
    poles = (pole_of_rise_us(1.0), pole_of_bandwidth_us(500.0))
    since = [np.clip(TIME - at, 0.0, None) for at in (0.0, 20.0)]
    up, down = (1.0 - np.exp(-t / poles[1]) for t in since)
    table = seen(poles=poles).assign(drive_v=4.9 + 0.3 * (up - down))
    known = {"detector_rise_us": 1.0, "scope_bandwidth_mhz": 0.5}
    bare, found = fit_edge(table), fit_edge(table, **known)
    assert found.delay_us is not None
    assert within(found.rise_us, RISE)
    assert within(found.delay_us, DELAY)
    assert bare.rise_us.n > 1.15 * RISE
    assert found.shown_rise_us == pytest.approx(bare.rise_us.n, rel=0.02)


def test_an_uncertain_port_is_a_cause():
    table = seen(poles=(pole_of_bandwidth_us(180.0),))
    sure, found = (fit_edge(table, port_bandwidth_khz=b) for b in (180.0, ufloat(180.0, 8.0, tag="port bandwidth")))
    assert within(found.rise_us, RISE)
    assert variance_shares(found.transit_us)["port bandwidth"] > 0.01
    assert found.transit_us.s > 1.02 * sure.transit_us.s


def test_a_pole_that_was_not_stated_is_named():
    found = fit_edge(seen(poles=(pole_of_bandwidth_us(180.0),)))
    assert "Gaussian edge" in [c.name for c in found.fit.failed]


def test_correlated_noise_makes_the_result_less_certain():
    white, slow = fit_edge(seen(noise=0.004)), fit_edge(seen(noise=0.004, correlated=0.8))
    assert len(slow.light.noise.weights) > 0
    assert slow.rise_us.s > 2.0 * white.rise_us.s
    assert within(slow.rise_us, RISE)


def test_velocity_and_diameter_follow():
    found = fit_edge(seen(), beam_diameter_mm=ufloat(1.6, 0.01), velocity_m_s=ufloat(643.4, 2.0))
    assert within(found.velocity_m_s, 643.4)
    assert within(found.diameter_mm, 1.6)
    assert "beam and velocity" not in [c.name for c in found.fit.failed]


def test_a_beam_of_another_width_is_named():
    found = fit_edge(seen(), beam_diameter_mm=ufloat(1.9, 0.02), velocity_m_s=643.4)
    assert "beam and velocity" in [c.name for c in found.fit.failed]


def test_a_slower_fall_is_named():
    found = fit_edge(seen(fall=2.0))
    assert "rise and fall agree" in [c.name for c in found.fit.failed]


def test_an_overshoot_is_seen_and_a_small_one_bounded():
    table = seen(noise=0.001)
    ring = 0.15 * 0.08 * np.exp(-(((TIME - DELAY - 2.8) / 0.7) ** 2))
    found = fit_edge(table.assign(signal_v=table["signal_v"] + ring))
    assert found.overshoot["rise"].seen
    assert found.overshoot["rise"].share.n == pytest.approx(0.08, abs=0.02)
    assert "overshoot after the rise" in [c.name for c in found.fit.failed]
    calm = fit_edge(table).overshoot["rise"]
    assert not calm.seen
    assert 0.001 < calm.bound < 0.02


def test_a_scope_of_few_steps():
    table = seen(noise=1e-5)
    found = fit_edge(table.assign(signal_v=np.round(table["signal_v"] / 0.0012) * 0.0012))
    assert found.light.noise.rounded
    assert "rounding of the scope" in variance_shares(found.rise_us)
    assert within(found.rise_us, RISE)


def test_many_samples_are_averaged_and_the_time_stays():
    time = np.arange(-10.0, 50.0, 0.004)
    found = fit_edge(seen(time=time, noise=0.01))
    assert len(found.light.time_us) < len(time) / 10
    assert within(found.rise_us, RISE)
    assert within(found.delay_us, DELAY)


def test_a_drive_without_an_edge_is_said():
    found = fit_edge(seen().assign(drive_v=5.0))
    assert found.delay_us is None
    assert "delay" in [c.name for c in found.fit.failed]


def test_plot_and_words():
    found = fit_edge(seen())
    assert found.plot().get_xlabel() == "Time (µs)"
    assert "<caption>Edge: 1200 samples, 2 edges of the light</caption>" in found._repr_html_()


def test_light_that_does_not_change():
    with pytest.raises(FitError, match="no edge between two levels in the samples of the light"):
        fit_edge(seen(step=0.0))


def test_too_few_samples():
    with pytest.raises(ReadingsError, match="too few samples in the trace of an edge; found 50"):
        fit_edge(seen()[:50])


def test_a_gap_in_time():
    with pytest.raises(ReadingsError, match="times of a trace that do not go forward in equal steps"):
        fit_edge(pd.concat([seen()[:300], seen()[320:]], ignore_index=True))


def test_no_plateaus():
    with pytest.raises(ReadingsError, match="plateaus too short to show the noise"):
        fit_edge(seen(noise=1e-4)[355:420])


def test_a_detector_of_no_rise_time():
    with pytest.raises(AotfLabError, match=r"detector_rise_us of an edge; found 0;"):
        fit_edge(seen(), detector_rise_us=0.0)


def test_exchanged_columns_are_told():
    with pytest.raises(
        ReadingsError, match=r"the light steps before its drive, and faster; .* 9\.\d+ us before the drive"
    ):
        fit_edge(seen().rename(columns={"signal_v": "drive_v", "drive_v": "signal_v"}))
    late = seen().assign(drive_v=lambda d: np.roll(d["drive_v"], 600))  # the light alone is early: its edge is told
    assert fit_edge(late).rise_us is not None


def test_light_that_the_scope_cut_off_is_told():
    table = seen()
    cut = fit_edge(table.assign(signal_v=table["signal_v"].clip(upper=0.14)))
    (shape,) = (c for c in cut.fit.failed if c.name == "Gaussian edge")
    assert "the scope cut the light off at 0.14 V: save it again in a larger range" in shape.detail
    pole = fit_edge(seen(poles=(0.9,)))
    assert "cut the light off" not in str(pole)
