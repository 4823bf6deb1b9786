"""Scans with a sloping floor, ranges of the meter, levels in dB and two peaks, of known truth.

The benches (tests/benchmarks/scan_forms_bench.py) are made without the package's model of a scan.
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab import fit_scan, fit_tuning
from aotf_lab.crystal.scan.table import scan_table
from aotf_lab.errors import OutOfRangeError, ReadingsError
from aotf_lab.physics.coupled_waves import diffraction_efficiency, peak_efficiency
from tests.benchmarks.scan_bench import Scenario, Truth, grids, measured
from tests.benchmarks.scan_forms_bench import TwoPeaks, in_db, ranged, sloped, two_peaks
from tests.test_crystal_scan import BOTH, TRUTH, off, scan_of

WIDE = Scenario("over more widths", points=(61, 61))


def checks(scan):
    return {c.name: c for c in scan.fit.checks}


def test_a_level_floor_keeps_its_fit():
    scan = fit_scan(scan_of())
    assert (scan.slope_mw_per_mhz.n, scan.slope_mw_per_mhz.s) == (0.0, 0.0)
    assert checks(scan)["floor"].detail.endswith("a level floor was fitted")
    assert scan.fit.values.size == 7


@pytest.mark.parametrize("slope", [0.05, -0.02])
def test_a_sloping_floor_is_fitted_and_said(slope):
    tables = sloped(BOTH, TRUTH, slope, np.random.default_rng(4))
    scan = fit_scan(tables)
    assert off(scan.slope_mw_per_mhz, slope) < 3.5
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert off(scan.floor_mw, 0.0023) < 3.5
    assert scan.fit.trusted, [str(c) for c in scan.fit.failed]
    assert "a level one would have moved the centre by" in checks(scan)["floor"].detail
    assert checks(scan)["floor"].at_stake_mhz > 0.0002
    assert "floor's slope" in str(scan)


def test_ranges_have_their_own_offset_and_gain():
    scan = fit_scan(ranged(BOTH, TRUTH, np.random.default_rng(2)))
    p = scan.fit.parameters
    assert off(p["gain_1"], 1.02) < 3.5
    assert off(p["gain_2"], 0.985) < 3.5
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert off(scan.fwhm_mhz, 0.31) < 3.5
    assert scan.fit.trusted, [str(c) for c in scan.fit.failed]
    assert "meter range 2" in str(scan)
    for sidelobe in scan.sidelobes:
        assert off(sidelobe.relative, 1.0) < 3.5


def test_ranges_that_only_the_digits_show():
    tables = ranged(BOTH, TRUTH, np.random.default_rng(2), stated=False, rounded=True)
    scan = fit_scan(tables)
    assert not checks(scan)["meter ranges"].passed
    assert "hold one range, or log it in a column range" in checks(scan)["meter ranges"].detail
    assert off(scan.fwhm_mhz, 0.31) < 3.5
    assert off(scan.centre_mhz, 64.2) < 3.5
    even = [t.assign(optical_power_mw=t["optical_power_mw"].round(5)) for t in scan_of()]
    assert "meter ranges" not in checks(fit_scan(even))


def test_a_range_without_a_name_and_too_many_of_them():
    tables = ranged(BOTH, TRUTH, np.random.default_rng(2))
    tables[0].loc[3, "range"] = ""
    with pytest.raises(ReadingsError, match=r"range of the power meter not stated.*fill in the range"):
        fit_scan(tables)
    many = [t.assign(range=t["optical_power_mw"]) for t in scan_of()]
    with pytest.raises(ReadingsError, match="too many ranges of the power meter; found 62; allowed: up to 8"):
        fit_scan(many)


def test_a_scan_in_dbm_reaches_its_sidelobes_down_to_the_floor():
    truth = Truth(64.2, 0.26, 0.0, 0.6, "tanh D")
    scan = fit_scan(in_db(WIDE, truth, np.random.default_rng(6)), drive_ratio=0.6)
    assert "logged in dB" in str(scan)
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert off(scan.fwhm_mhz, 0.26) < 3.5
    assert off(scan.floor_mw, 10**-4.5) < 3.5
    assert scan.floor_mw.s < 1e-4, "40 dB below the peak"
    assert scan.fit.trusted, [str(c) for c in scan.fit.failed]
    assert len(scan.sidelobes) == 2
    for sidelobe in scan.sidelobes:
        assert off(sidelobe.level_db, sidelobe.theory_db) < 3.5
        assert sidelobe.level_db.s < 0.1


def test_levels_and_powers_are_the_same_readings():
    tables = in_db(BOTH, TRUTH, np.random.default_rng(6))
    relative = [t.rename(columns=lambda c: c.replace("optical_power_dbm", "optical_level_db")) for t in tables]
    table = scan_table(relative)
    assert table.log
    np.testing.assert_allclose(table.power_mw[:31], 10 ** (tables[0]["optical_power_dbm"] / 10))
    np.testing.assert_allclose(table.u_power_mw / table.power_mw, 0.05 * np.log(10) / 10)
    assert fit_scan(relative).centre_mhz.n == fit_scan(tables).centre_mhz.n
    unsure = fit_scan([t.drop(columns="u_optical_power_dbm") for t in tables])
    assert off(unsure.centre_mhz, 64.2) < 3.5
    assert unsure.centre_mhz.s == pytest.approx(fit_scan(tables).centre_mhz.s, rel=0.4)


@pytest.mark.parametrize(("share", "apart"), [(0.1, 1.0), (0.1, -1.5), (0.3, 0.7), (0.45, 1.2)])
def test_two_peaks_are_told_apart(share, apart):
    rng = np.random.default_rng(3)
    tables, second = two_peaks(BOTH, TRUTH, share, abs(apart), rng)
    scan = fit_scan(tables)
    branches = scan.branches
    assert branches is not None
    assert off(branches.main_mhz, 64.2) < 3.5
    assert off(branches.second_mhz, second.centre_mhz) < 3.5
    assert off(branches.separation_mhz, second.centre_mhz - 64.2) < 3.5
    assert off(branches.share, share) < 3.5
    assert scan.centre_mhz.n == branches.main_mhz.n
    check = checks(scan)["one peak"]
    assert not check.passed
    assert "put a polariser before the crystal, or turn the polarisation by" in check.detail
    assert branches.turn_deg.n == pytest.approx(np.degrees(np.arcsin(share**0.5)), abs=4 * branches.turn_deg.s)
    assert "kHz apart" in str(scan)


@pytest.mark.parametrize("scenario", [Scenario("wander", wander=0.012, memory_s=5.0), Scenario("noisy", noise=10.0)])
def test_a_good_scan_has_one_peak(scenario):
    for seed in range(4):
        scan = fit_scan(scan_of(scenario, seed))
        assert scan.branches is None
        assert checks(scan)["one peak"].passed


def test_the_share_of_the_peak():
    scan = fit_scan(scan_of())
    assert scan.share_of_peak(scan.centre_mhz).n == pytest.approx(1.0, abs=1e-6)
    grid = np.array([64.1, 64.2, 64.3])
    np.testing.assert_allclose([v.n for v in scan.share_of_peak(grid)], TRUTH.light(grid), atol=0.006)
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range; found 60 MHz"):
        scan.share_of_peak(60.0)


def test_the_width_in_wavelength_follows_the_slope_of_the_tuning_curve():
    lines = pd.DataFrame(
        {
            "wavelength_nm": [473.19, 556.42, 589.12, 671.29], "u_wavelength_nm": 0.1,
            "frequency_mhz": [86.34, 69.08, 64.24, 54.76], "u_frequency_mhz": 0.005,
        }
    )  # fmt: skip
    tuning, scan = fit_tuning(lines), fit_scan(scan_of())
    width = scan.fwhm_nm(tuning)
    step = tuning.wavelength(64.1).n - tuning.wavelength(64.3).n
    assert width.n == pytest.approx(scan.fwhm_mhz.n * step / 0.2, rel=1e-3)
    slope = width / scan.fwhm_mhz
    assert slope.s > 0
    u_own = scan.fwhm_mhz.s / scan.fwhm_mhz.n
    assert (width.s / width.n) ** 2 == pytest.approx(u_own**2 + (slope.s / slope.n) ** 2, rel=0.02)


@pytest.mark.parametrize("drive", [0.2, 1.0])
def test_the_weak_drive_width_does_not_depend_on_the_drive(drive):
    """By coupled waves at both drives: the detuning at half height, found by a search on ``diffraction_efficiency``."""
    d = np.linspace(0.0, 2.0, 200001)
    half = [float(d[np.argmin(np.abs(diffraction_efficiency(d, r) / peak_efficiency(r) - 0.5))]) for r in (1e-9, drive)]
    scan = fit_scan(scan_of(truth=Truth(64.2, 0.31, 0.0, drive, "tanh D")), drive_ratio=drive)
    assert off(scan.weak_fwhm_mhz, 0.31 * half[0] / half[1]) < 3.5


def test_the_length_of_the_transducer_has_the_velocity_and_the_width_in_its_budget():
    from aotf_lab import fit_cut

    lines = pd.DataFrame(
        {"wavelength_nm": [589.12], "u_wavelength_nm": 0.1, "frequency_mhz": [64.24], "u_frequency_mhz": 0.005}
    )
    cut, scan = fit_cut(lines), fit_scan(scan_of())
    length = scan.interaction_length_mm(cut, ufloat(589.12, 0.1))
    straight = scan.interaction_length_mm(cut, 589.12, walkoff_deg=0.0)
    assert 15.0 < straight.n < 25.0
    assert 1.05 < length.n / straight.n < 1.15
    assert length.s / length.n > scan.fwhm_mhz.s / scan.fwhm_mhz.n
    assert scan.fit.budget(length)["acoustic velocity"] > 0.05


@pytest.mark.parametrize(("beyond", "way"), [(0.3, 1.0), (0.6, -1.0)])
def test_the_flank_of_a_passband_outside_the_scan_is_no_slope(beyond, way):
    rng = np.random.default_rng(5)
    runs = grids(BOTH, TRUTH, rng)
    end = max(way * r for run in runs for r in run) * way
    second = replace(TRUTH, centre_mhz=end + way * beyond * TRUTH.fwhm_mhz, peak_mw=0.11)
    scan = fit_scan(measured(BOTH, TwoPeaks(TRUTH, second), runs, rng))
    assert off(scan.centre_mhz, 64.2) < 3.5
    assert scan.branches is None
    check = checks(scan)["one peak"]
    assert not check.passed
    side = "above" if way > 0 else "below"
    assert f"the flank of a second passband {side} the scan lies under this one" in check.detail
    assert f"scan further {'up' if way > 0 else 'down'}" in check.detail


def test_two_peaks_are_as_uncertain_as_their_valley_is_long():
    """With the drive unknown the valley of chi-square is curved, and ten times as long as its floor is curved."""
    untold = Scenario("drive and scatter not told", drive_told=False, u_told=False)
    truth = Truth(64.2, 0.35, 0.09, 1.3, "tanh D")
    tables, second = two_peaks(untold, truth, 0.1, 1.0, np.random.default_rng(1))
    scan = fit_scan(tables)
    assert scan.branches is not None
    by_curvature = scan.solution.fit.parameters["separation_mhz"]
    assert off(by_curvature, second.centre_mhz - 64.2) > 5.0
    assert off(scan.branches.separation_mhz, second.centre_mhz - 64.2) < 2.0
    assert off(scan.branches.main_mhz, 64.2) < 2.0
    assert off(scan.drive_ratio, 1.3) < 2.5


def test_ranges_in_the_digits_are_those_that_were_set():
    rng = np.random.default_rng(6)
    state = rng.bit_generator.state
    shown = fit_scan(ranged(BOTH, TRUTH, rng, stated=False, rounded=True))
    rng.bit_generator.state = state
    stated = fit_scan(ranged(BOTH, TRUTH, rng, rounded=True))
    assert np.mean(shown.solution.model.ranges != stated.solution.model.ranges) < 0.03
    assert shown.fwhm_mhz.s == pytest.approx(stated.fwhm_mhz.s, rel=0.05)
