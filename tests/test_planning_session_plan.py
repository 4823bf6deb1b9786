"""The plan of a session: it meets its target where it can, and names the shared cause where it cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.smooth.curve import fit_smooth
from aotf_lab.physics.coupled_waves import light_lost
from aotf_lab.planning.session_plan import Prospect, ProspectLine, plan_session
from aotf_lab.planning.session_plan.joint import joint_unknowns
from aotf_lab.planning.session_plan.powers import plan_powers
from aotf_lab.planning.session_plan.scan import peak_u_mhz
from aotf_lab.planning.session_plan.typical import typical_drive_v, typical_frequency_mhz
from aotf_lab.reading.instruments import Counter, Instruments, PowerMeter, Scope, Voltmeter

BENCH = Instruments(
    Counter(time_base_ppm=15.0, u_reading_khz=4.5),
    Voltmeter(u_reading_mv=2.0),
    Scope(
        gain_percent=2.5,
        probe=1.0,
        pad_db=30.0,
        u_pad_db=0.1,
        load_ohm=50.0,
        u_load_ohm=0.5,
        u_reading_percent=0.6,
        bandwidth_mhz=200.0,
        u_bandwidth_percent=5.0,
    ),
    PowerMeter(u_reading_percent=1.3, floor_uw=1.2),
)
LINES = {n: ProspectLine(w, 0.1) for n, w in (("B", 473.19), ("D", 556.42), ("E", 589.12), ("G", 671.29))}
BELIEVED = Prospect(LINES)


@pytest.fixture(scope="module")
def plan():
    return plan_session(BENCH, BELIEVED)


def test_the_plan_meets_its_target(plan):
    assert plan.reached
    assert not plan.limits
    for u in plan.u_setting_mhz.values():
        assert float(light_lost(1.96 * u / BELIEVED.fwhm_mhz)) <= 0.0101
    assert {s.line for s in plan.scans} == set(LINES)
    assert np.all(np.diff(plan.up_v) >= 0)
    assert np.all(np.diff(plan.down_v) <= 0)


def test_the_prediction_is_what_fits_with_these_readings_hold(plan):
    # independent: the smooth fit's own u at the lines' voltages, and the scans' u, in squares
    v = np.array([*plan.up_v, *plan.down_v])
    fit = fit_smooth(v, typical_frequency_mhz(BELIEVED, v), 0.002 + 0 * v, 0.0045 + 0 * v)
    mhz = BELIEVED.frequency_mhz(np.array([line.wavelength_nm for line in LINES.values()]))
    rows = fit.rows(typical_drive_v(BELIEVED, mhz))
    covariance = (fit.scatter + fit.form)[: rows.shape[1], : rows.shape[1]]
    u_curve = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    for scan, u in zip(plan.scans, u_curve, strict=True):
        together = float(np.hypot(u, scan.u_peak_mhz / scan.times**0.5))
        assert plan.u_setting_mhz[scan.line] == pytest.approx(together, rel=0.01)


def test_a_harder_target_takes_more_readings(plan):
    assert plan_session(BENCH, BELIEVED, light_lost_percent=0.3).readings > plan.readings


def test_a_coarser_voltmeter_takes_more_readings(plan):
    coarse = replace(BENCH, voltmeter=Voltmeter(u_reading_mv=5.0))
    found = plan_session(coarse, BELIEVED)
    assert len(found.up_v) + len(found.down_v) > len(plan.up_v) + len(plan.down_v)


def test_a_line_without_light_is_limited_by_its_wavelength():
    lines = LINES | {"X": ProspectLine(530.0, 2.0, scannable=False)}
    found = plan_session(BENCH, Prospect(lines))
    left, cause = found.limits["X"]
    # df/dnm of the curve there times 2 nm, which no anchor lessens
    slope = np.ptp(BELIEVED.frequency_mhz(np.array([529.9, 530.1]))) / 0.2
    assert left == pytest.approx(2.0 * slope, rel=0.02)
    assert "stated wavelength of line X" in cause
    assert not found.reached
    assert any("line X" in s and "No number of readings" in s for s in found.sentences())


def test_a_pot_with_backlash_is_a_limit_until_it_is_set_from_one_side():
    found = plan_session(BENCH, replace(BELIEVED, backlash_v=0.02))
    assert {cause for _, cause in found.limits.values()} == {"backlash of the pot"}
    assert any("one side only" in s for s in found.sentences())
    assert plan_session(BENCH, replace(BELIEVED, backlash_v=0.02, one_sided=True)).reached


def test_the_scale_of_power_is_named_when_it_forbids_the_target():
    plan = plan_powers(BENCH, BELIEVED, 0.03)
    assert not plan.reached
    assert next(iter(plan.u_shared)) == "scope gain"
    # twice the gain in volts, by P = V^2 / R
    assert plan.u_shared["scope gain"] == pytest.approx(0.05)
    assert plan.u_shared["pad"] == pytest.approx(0.1 * np.log(10) / 10)
    found = plan_session(BENCH, BELIEVED, u_saturation=0.03)
    assert any("scope gain" in s and "power meter" in s for s in found.sentences())


def test_powers_tell_a_saturation_power_as_well_as_their_information_says():
    # by the information matrix of (P_sat, peak) written out here for eta = peak sin^2(pi/2 sqrt(P/P_sat))
    plan = plan_powers(BENCH, BELIEVED, 0.2)
    power = np.concatenate([[p] * n for p, n in plan.powers])
    angle = np.pi / 2 * np.sqrt(power / BELIEVED.saturation_power_w)
    shape, bend = np.sin(angle) ** 2, BELIEVED.peak_efficiency * np.sin(2 * angle) * angle / 2
    gradient = np.stack([-bend, shape])
    light = 0.01 * np.hypot(1.3, 1.0) * 2**0.5 * BELIEVED.peak_efficiency * shape
    variance = light**2 + (0.003 * BELIEVED.peak_efficiency) ** 2 + (bend * 2 * 0.006) ** 2
    bound = np.linalg.inv((gradient / variance) @ gradient.T)[0, 0] ** 0.5
    # the third power that tests the law is in the plan but not in its prediction
    assert bound <= plan.u_scatter * 1.001
    assert bound == pytest.approx(plan.u_scatter, rel=0.1)


def test_a_scan_with_four_times_the_readings_halves_the_u_of_its_peak():
    few, many = (peak_u_mhz(BENCH, BELIEVED, n, 3.0) for n in (200, 800))
    assert few / many == pytest.approx(2.0, rel=0.02)


def test_typical_voltages_go_back_to_their_frequencies():
    v = np.linspace(0.5, 13.5, 9)
    assert typical_drive_v(BELIEVED, typical_frequency_mhz(BELIEVED, v)) == pytest.approx(v, abs=1e-4)


def test_the_clock_cancels_in_a_setting():
    slow = replace(BENCH, counter=Counter(time_base_ppm=500.0, u_reading_khz=4.5))
    v = np.linspace(0.3, 14.0, 12)
    one, other = (joint_unknowns(i, BELIEVED, v, 0 * v) for i in (BENCH, slow))
    assert one.u_settings(one.covariance) == pytest.approx(other.u_settings(other.covariance))


def test_what_cannot_be_planned_is_refused():
    with pytest.raises(AotfLabError, match=r"target of light lost.*0.*above 0 to 50 %"):
        plan_session(BENCH, BELIEVED, light_lost_percent=0.0)
    with pytest.raises(AotfLabError, match=r"beyond the oscillator.*40 to 80 MHz"):
        plan_session(BENCH, replace(BELIEVED, range_mhz=(40.0, 80.0)))
    with pytest.raises(AotfLabError, match=r"range_v.*14 to 1"):
        Prospect(LINES, range_v=(14.0, 1.0))
    with pytest.raises(AotfLabError, match="lines to plan for"):
        Prospect({})


def test_text_table_and_html(plan):
    assert "Read the oscillator" in str(plan)
    assert plan.table["reached"].all()
    assert "<ul>" in plan._repr_html_()
