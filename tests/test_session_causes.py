"""A named cause of error is one variable in a session: what shares it is correlated, and differences know it.

u^2(a - b) = u^2(a) + u^2(b) - 2 u(a, b): JCGM 100:2008, equation (16).
"""

from __future__ import annotations

import re
import shutil
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from uncertainties import covariance_matrix, ufloat

from aotf_lab.crystal import fit_efficiency_lines
from aotf_lab.crystal.beam import fit_beam_size
from aotf_lab.crystal.passbands.drive import line_drive
from aotf_lab.crystal.purity.leakage import fit_leakage
from aotf_lab.crystal.tuning.curve import fit_tuning
from aotf_lab.estimation import new_cause, u_by_cause
from aotf_lab.planning.generator.sweep import sine_sweep
from aotf_lab.planning.park.drive import parked_drive
from aotf_lab.planning.park.harmonics import harmonic_levels
from aotf_lab.session import open_session
from aotf_lab.session.rerun.results import results
from aotf_lab.timing.depth import fit_modulation_depth
from tests.conftest import DEMO
from tests.every_number import variables_of


def rest_on(cause, *numbers):
    """Return which of ``numbers`` move with this very variable; another of the same name does not count."""
    return [abs(n.derivatives.get(cause, 0.0)) > 0 for n in numbers]


def test_the_bandwidth_of_the_port_is_one_cause_of_all_that_it_slows(demo):
    port = demo.port_bandwidth_khz
    edge, depth = demo.edge["E"], demo.modulation_depth["E"]
    (swept,) = [part.rate_mhz_per_us for part in demo.sweep.parts if part.name == "oscillator port"]
    sine = sine_sweep(demo, ["D", "E"], demo.generator, rate_khz=20.0)
    followed = (edge.rise_us, edge.delay_us, edge.transit_us, depth.transit_us, swept, sine.delay_us)
    assert rest_on(port, *followed) == [True] * len(followed)
    assert {v.tag for n in followed for v in n.derivatives if v.tag == port.tag and v is not port} == set()


def test_the_difference_of_edge_and_depth_leaves_out_what_both_have_of_the_port(demo):
    edge, depth = demo.edge["E"].transit_us, demo.modulation_depth["E"].transit_us
    (_, shared), _ = covariance_matrix([edge, depth])
    apart = float(np.hypot(edge.s, depth.s))
    assert shared > 0
    assert (depth - edge).s == pytest.approx((apart**2 - 2 * shared) ** 0.5, rel=1e-9)
    assert (depth - edge).s < 0.999 * apart
    (check,) = [c for c in demo.modulation_depth["E"].fit.checks if c.name == "edge and depth agree"]
    assert f"+- {(depth - edge).s:.2g} us" in check.detail


def test_the_dead_time_of_a_sequence_takes_delay_and_port_together(demo):
    port, delay = demo.port_bandwidth_khz, demo.edge["E"].delay_us
    (_, both), _ = covariance_matrix([port, delay])
    assert 0 < both / (port.s * delay.s) < 1  # a wider port takes less of the time, and leaves more to the sound
    dead = [turn.dead_us for turn in demo.plays["green to red, then dark"].turns]
    assert rest_on(port, *dead) == [True] * len(dead)


def test_one_meter_one_label_one_set_of_harmonics(demo):
    assert demo.wavelengths_nm["D"] is demo.stated_nm["D"]
    assert demo.driver_harmonics is demo.driver_harmonics
    detector = demo.facts.instruments.detector
    assert detector.known_rise_us is detector.known_rise_us
    centres = [scan.centre_mhz for scan in demo.scans.values()]
    assert all(rest_on(demo.meter_s, *centres))


SCATTER = ("scatter ", "rounding to the scope's steps", "form of ", "widths of single lines", "leans of single lines")
"""Errors of single readings, of the knots of a smooth curve, and of how single lines differ: many by their nature."""

ONE_EACH = {
    "dark reading": "each dark reading that was made",
    "drive ratio, unknown": "each line's own P / P_sat, which its scan was to tell",
    "drive ratio, assumed or told": "each peak's own P / P_sat",
    "lean of the passband, unknown": "each line's own lean, and that of the wide sweep",
    "slope of the RF power": "ripple of the RF power at each peak",
    "peak efficiency of a line never measured": "what each such line differs by, and each end of the spectrum",
    "places of the nulls": "each frequency beyond a main lobe, where a null may lie anywhere",
    "weak prior on tilt": "each fit's own middle wavelength, about which tilt and bend are counted",
    "weak prior on bend": "each fit's own middle wavelength, about which tilt and bend are counted",
}
"""Tags of several variables that are no common cause, and of what there is one each."""


def several(session):
    """Compute all of ``session`` and return the tags that more than one variable carries.

    What session.toml alone says is left out: levels are read with the harmonics that the traces show, not with those.
    """
    results(session)
    found = variables_of(session, frozenset({"facts"}))
    assert all(variable.s < 1e-9 for variable in found.pop("", ()))  # what stands in for exact numbers
    assert len(found) > 50
    return {tag: kept for tag, kept in found.items() if len(kept) > 1 and not tag.startswith(SCATTER)}


def test_every_cause_of_the_session_is_one_variable():
    demo = open_session(DEMO)  # its own: what other tests ask of a shared one makes variables too
    found = several(demo)
    assert set(found) - set(ONE_EACH) == set()
    lines, peaks = len(demo.scans), demo.hunt.solution.count
    assert len(found["drive ratio, unknown"]) == lines
    assert len(found["lean of the passband, unknown"]) == lines + 1
    assert max(len(found[tag]) for tag in ("slope of the RF power", "drive ratio, assumed or told")) <= peaks
    unmeasured = [name for name in demo.passbands.lines if name not in demo.efficiency.own]
    assert len(found["peak efficiency of a line never measured"]) == len(unmeasured) + 2


def test_every_cause_is_one_variable_where_little_is_stated(tmp_path):
    folder = tmp_path / "bench"
    shutil.copytree(DEMO, folder)
    stated = (folder / "session.toml").read_text(encoding="utf-8")
    for key in (
        "velocity_m_s",
        "time_constant_s",
        "gain_percent",
        "time_base_ppm",
        "u_pad_db",
        "u_rise_us",
        "offset_mv",
    ):
        stated, count = re.subn(rf"(?m)^(u_)?{key} = .*\n", "", stated)
        assert count
    for purpose in ("trace", "level"):
        stated = stated.replace(f'purpose = "{purpose}"', 'purpose = "keep"')
    stated = re.sub(r"(?m)^counter_mhz = .*\n", "", stated)
    (folder / "session.toml").write_text(stated, encoding="utf-8")
    session = open_session(folder)
    assert session.facts.crystal.velocity_m_s is None
    assert session.meter_s is None
    assert set(several(session)) - set(ONE_EACH) == set()


def test_a_second_variable_of_one_name_is_found(demo):
    results(demo)
    twin = new_cause("counter time base", 15e-6)
    (own,) = variables_of(demo.scans)["counter time base"]
    assert variables_of([demo.scans, {"E": np.array([1.0 + twin], dtype=object)}])["counter time base"] == {own, twin}


def test_a_label_and_the_curve_through_it_are_one_cause(demo):
    label, curve = demo.stated_nm["E"], demo.tuning
    assert rest_on(label, *curve.fit.parameters.values()) == [True] * 3
    assert rest_on(label, demo.cut.incidence_deg, demo.found_nm["F"]) == [True, True]
    at_label = curve.frequency(label)
    (_, shared), _ = covariance_matrix([curve.frequency(label.n), at_label - curve.frequency(label.n)])
    assert shared < 0  # the peak of E was measured: another label moves the curve the other way
    assert at_label.s < 0.6 * curve.frequency(ufloat(label.n, label.s)).s
    # what each number has of its own is as before: the label's share only has a name now
    assert curve.frequency(label.n).s == pytest.approx(fit_tuning(demo.line_readings).frequency(label.n).s, rel=1e-6)
    same = demo.stated_nm["E"] - ufloat(label.n, label.s)
    assert same.s == pytest.approx(2**0.5 * label.s)


def test_a_label_that_the_table_states_otherwise_scatters(demo):
    other = {"E": ufloat(589.5, 0.1, tag="wavelength of line E")}
    curve = fit_tuning(demo.line_readings, stated_nm=other)
    assert "wavelength of line E" not in u_by_cause(curve.fit.parameters["scale_m_s"])


def test_the_photodiode_and_the_meter_are_one_cause_in_all_that_they_slow(demo):
    rise = demo.facts.instruments.detector.known_rise_us
    (swept,) = [part.rate_mhz_per_us for part in demo.sweep.parts if part.name == "detector"]
    assert rest_on(rise, demo.edge["E"].transit_us, demo.modulation_depth["E"].transit_us, swept) == [True] * 3
    assert rest_on(demo.meter_s, demo.hunt.lag_steps, demo.scans["D"].centre_mhz) == [True, True]


def test_a_slower_photodiode_takes_more_off_each_depth(demo):
    # by finite differences: the fit with a rise of one u more, each as if it were known exactly
    rise = demo.facts.instruments.detector.known_rise_us
    table = demo.readings("modulation_depth", "E")
    port = demo.port_bandwidth_khz
    more, less = (
        fit_modulation_depth(table, port_bandwidth_khz=port, detector_rise_us=rise.n + step).transit_us.n
        for step in (rise.s, -rise.s)
    )
    found = fit_modulation_depth(table, port_bandwidth_khz=port, detector_rise_us=rise).transit_us
    assert found.derivatives[rise] == pytest.approx((more - less) / (2 * rise.s), rel=0.05)
    assert more < less


def test_a_knife_edge_takes_its_lag_from_the_meter():
    seconds = ufloat(0.4, 0.04)
    at = np.arange(0.0, 3.0, 0.1)
    power = 1 - norm.cdf(4 * (at - 1.5))
    light = pd.DataFrame({"position_mm": at, "optical_power_mw": power, "u_optical_power_mw": 1e-3})
    light["time_s"] = np.arange(at.size)
    found = fit_beam_size(light, time_constant_s=seconds)
    up, down = (fit_beam_size(light, time_constant_s=seconds.n + s).centre_mm.n for s in (0.02, -0.02))
    assert found.centre_mm.derivatives[seconds] == pytest.approx((up - down) / 0.04, rel=0.02)
    assert found.diameter_mm.derivatives[seconds] < 0


def test_what_is_assumed_of_a_driver_is_one_cause_a_bench(demo):
    curves = replace(demo.curves, level=None)
    first, second = (parked_drive(curves, curves, None, 0.1).power_w(60.0) for _ in range(2))
    assert (first - second).s == pytest.approx(0.0, abs=1e-15)
    doubts = [harmonic_levels(None, curves.assumed_driver)[1].doubt for _ in range(2)]
    assert doubts[0] is doubts[1]
    assert replace(curves).assumed_driver.flatness is not curves.assumed_driver.flatness  # another bench


def test_lines_whose_efficiency_was_never_measured_share_what_is_assumed():
    weak = fit_efficiency_lines({"E": (_weak_drive(), 589.12)})
    peaks = {line: line_drive(weak, line, nm) for line, nm in (("E", 589.12), ("B", 473.19), ("D", 556.42))}
    assert peaks["B"].peak_efficiency.s == pytest.approx(0.10)
    between = peaks["B"].peak_efficiency - peaks["D"].peak_efficiency
    assert between.s == pytest.approx(2**0.5 * 0.05)  # by how much lines differ
    ratio = peaks["B"].saturation_power_w / peaks["D"].saturation_power_w
    # the same slope, and one exponent: u(ln ratio)^2 = 2 (0.05 / 0.80)^2 + (0.5 ln(B / D))^2
    by_hand = (2 * (0.05 / 0.80) ** 2 + (0.5 * np.log(473.19 / 556.42)) ** 2) ** 0.5
    assert ratio.s / ratio.n == pytest.approx(by_hand, rel=1e-3)
    assert line_drive(weak, "B", 473.19).peak_efficiency - peaks["B"].peak_efficiency == 0


def _weak_drive():
    power = 0.042 * np.arange(1, 13) / 12
    light = 0.88 * np.sin(np.pi / 2 * np.sqrt(power / 0.42)) ** 2
    return pd.DataFrame({"rf_power_w": power, "u_rf_power_w": 5e-3 * power, "efficiency": light, "u_efficiency": 4e-3})


def test_one_line_at_two_wavelengths_is_one_line(demo):
    first, again = demo.efficiency.at(518.05), demo.efficiency.at(518.25)
    assert (first.peak_efficiency - again.peak_efficiency).s < 1e-12
    other = demo.efficiency.at(530.0)
    assert (first.peak_efficiency - other.peak_efficiency).s > first.peak_efficiency.s


def test_the_bend_of_the_law_is_one_cause_a_line(demo):
    band = demo.passbands.line("E")
    places = band.peak_mhz.n + np.array([0.0, 0.02])
    bends = [v for n in band.efficiency(places, 0.5) for v in n.derivatives if v.tag.startswith("bend")]
    assert len(bends) == 2
    assert bends[0] is bends[1]


def test_the_zero_of_one_meter_is_one_cause_of_the_leak_of_all_lines(demo):
    zero = ufloat(0.0, 2e-4, tag="zero of the meter's ranges")
    one, apart = (
        [fit_leakage(demo.readings("leakage", n), line=n, u_zero_mw=u).efficiency[0] for n in ("D", "E")]
        for u in (zero, zero.s)
    )
    assert [n.s for n in one] == pytest.approx([n.s for n in apart])
    assert (one[0] - one[1]).s < (apart[0] - apart[1]).s
