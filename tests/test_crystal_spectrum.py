"""What ``fit_spectrum`` says of lamps with known truth.

Outside: Planck's law with the constants of CODATA (scipy.constants) for illuminant A of ISO/CIE 11664-2, summed over
wavelengths through simulated passbands; mercury lines of shared/lamp_lines.csv (CIPM/BIPM); the sodium pair, from
memory. The simulation makes the light without the package's way back (simulate/spectrum.py).
"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from uncertainties import ufloat

from aotf_lab.crystal.spectrum.axis import SpectralAxis
from aotf_lab.crystal.spectrum.fit import fit_spectrum
from aotf_lab.crystal.spectrum.lobes import lobe_area, stray
from aotf_lab.crystal.spectrum.local import integral_weights, local_weights
from aotf_lab.estimation import u_by_cause
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm, peak_efficiency
from aotf_lab.physics.passband_area import passband_area
from aotf_lab.simulate.spectrum import SpectrumPlan
from tests.benchmarks.spectrum_bench import (
    LAMPS,
    MERCURY,
    SODIUM,
    bench,
    black_body_mw_per_nm,
    measured,
    scans_of,
    tuning_of,
)

PLAN = SpectrumPlan(56.0, 90.0, 0.14)
NARROW = SpectrumPlan(61.0, 72.0, 0.06)


def off(value, true):
    return abs(value.n - true) / value.s


@pytest.fixture(scope="module")
def truth():
    return bench()


@pytest.fixture(scope="module")
def tuning(truth):
    return tuning_of(np.random.default_rng(1), truth)


@pytest.fixture(scope="module")
def scans(truth):
    return scans_of(np.random.default_rng(2), truth)


def spectrum_of(lamp, truth, tuning, scans, plan=PLAN, seed=3, ways=("up", "down"), **more):
    owner = measured(np.random.default_rng(seed), lamp, truth, plan, ways)
    known = {"response": owner.response, "efficiency": owner.efficiency} | more
    return fit_spectrum(owner.readings, tuning, passband=scans, **known)


@pytest.fixture(scope="module")
def body(truth, tuning, scans):
    return spectrum_of("black body 2856 K", truth, tuning, scans, time_constant_s=0.3)


@pytest.fixture(scope="module")
def led(truth, tuning, scans):
    return spectrum_of("white LED", truth, tuning, scans)


def test_planck_comes_back_at_every_wavelength(body):
    assert body.trusted, [str(c) for c in body.failed]
    nm = np.linspace(465.0, 655.0, 12)
    for value, true in zip(body.at(nm), black_body_mw_per_nm(nm), strict=True):
        assert off(value, true) < 3.5
        assert value.s < 0.08 * true


def test_ratio_of_planck_is_surer_than_the_scale(body):
    """Power meter gain and scale of the response are shared: they leave the ratio of two wavelengths."""
    blue, red = body.at(500.0), body.at(600.0)
    ratio = blue / red
    true = float(black_body_mw_per_nm(np.array([500.0]))[0] / black_body_mw_per_nm(np.array([600.0]))[0])
    assert off(ratio, true) < 3.5
    assert ratio.s / ratio.n < 0.6 * blue.s / blue.n
    assert u_by_cause(ratio).get("power meter gain", 0.0) < 1e-6 * ratio.n


def test_power_of_planck_is_its_integral(body):
    true = quad(lambda x: float(black_body_mw_per_nm(np.array([x]))[0]), 500.0, 600.0)[0]
    assert off(body.power_mw(500.0, 600.0), true) < 3.5


@pytest.mark.parametrize("limits", [(480.0, 640.0), (500.0, 600.0)])
def test_power_is_the_same_over_frequency_and_over_wavelength(led, limits):
    nm, density = led.nominal_nm[::-1], led.nominal_density[::-1]
    over_nm = float(integral_weights(nm, *limits) @ density)
    assert led.power_mw(*limits).n == pytest.approx(over_nm, rel=2e-3)


def test_light_of_the_led_is_conserved(led):
    nm = np.linspace(*led.range_nm, 20001)
    true = float(np.trapezoid(LAMPS["white LED"].density_mw_per_nm(nm), nm))
    assert off(led.power_mw(), true) < 3.5
    assert led.power_mw().s < 0.06 * true


def test_without_stray_light_the_led_would_be_flattened(led):
    """The sidelobes carry light from the peaks into the gap between them: several per cent of what is seen there."""
    gap = np.argmin(np.abs(led.nominal_nm - 500.0))
    seen = led.rows_used.light_mw[gap].n
    assert 0.1 < led.stray.all_mw[gap] / seen < 0.4
    assert off(led.at(500.0), float(LAMPS["white LED"].density_mw_per_nm(np.array([500.0]))[0])) < 3.5


def test_lag_is_measured_by_both_ways_and_stated_for_one(led, truth, tuning, scans):
    kept = np.exp(-0.5 / 0.3)
    assert led.rows_used.lag.known == "measured"
    assert off(led.rows_used.lag.mhz, PLAN.step_mhz * kept / (1 - kept)) < 3.5
    one = spectrum_of("white LED", truth, tuning, scans, ways=("up",), time_constant_s=0.3)
    assert [c.name for c in one.failed] == []
    assert "stated" in next(c.detail for c in one.checks if c.name == "lag")
    assert off(one.at(480.0), float(LAMPS["white LED"].density_mw_per_nm(np.array([480.0]))[0])) < 3.5
    unknown = spectrum_of("white LED", truth, tuning, scans, ways=("up",))
    assert "lag" in [c.name for c in unknown.failed]
    assert unknown.wavelength_nm[100].s > 2 * one.wavelength_nm[100].s


def test_noise_is_of_each_point_and_tuning_of_all(led):
    value = led.density_mw_per_nm[200]
    assert np.hypot(led.u_noise[200], led.u_shared[200]) == pytest.approx(value.s, rel=1e-6)
    assert "scatter of the spectrum" in u_by_cause(value)
    table = led.table
    assert np.all(np.diff(table["wavelength_nm"]) > 0)
    assert {"u_noise_mw_per_nm", "u_shared_mw_per_nm", "resolution_nm", "place"} <= set(table.columns)


def test_resolution_is_the_passband_in_nm(led, tuning, scans):
    nm = 556.0
    slope = abs(tuning.frequency(nm + 0.5).n - tuning.frequency(nm - 0.5).n)
    assert led.resolution_nm(nm) == pytest.approx(scans[1].fwhm_mhz.n / slope, rel=0.03)
    assert led.resolution_nm(640.0) > 1.5 * led.resolution_nm(470.0)


def test_axis_is_the_tuning_curve(tuning):
    f = np.array([ufloat(60.0, 0.01, "a"), ufloat(80.0, 0.01, "b")], dtype=object)
    ours, its = SpectralAxis(tuning).wavelength_nm(f), tuning.wavelength(f)
    for a, b in zip(ours, its, strict=True):
        assert (a - b).n == pytest.approx(0.0, abs=1e-7)
        assert (a - b).s == pytest.approx(0.0, abs=1e-7)


def test_axis_slope_is_the_difference_of_two_frequencies(tuning):
    slope = SpectralAxis(tuning).mhz_per_nm(np.array([560.0]))[0]
    rise = (tuning.frequency(559.5) - tuning.frequency(560.5)) / 1.0
    assert slope.n == pytest.approx(rise.n, rel=1e-5)
    assert slope.s == pytest.approx(rise.s, rel=1e-3)


@pytest.mark.parametrize(("fwhm_mhz", "parted"), [(0.2, True), (0.45, False)])
def test_mercury_pair_is_parted_as_the_resolution_says(fwhm_mhz, parted, tuning):
    """198Hg 577.12 and 579.23 nm, vacuum, from shared/lamp_lines.csv: 0.30 MHz apart on this crystal."""
    narrow = bench(fwhm_mhz)
    spectrum = spectrum_of("mercury", narrow, tuning, scans_of(np.random.default_rng(5), narrow), NARROW)
    found = spectrum.lines()
    assert (spectrum.resolution_nm(578.0) < MERCURY[2][0] - MERCURY[1][0]) is parted
    assert len(found) == (3 if parted else 2)
    green = next(line for line in found if line.wavelength_nm.n < 560)
    assert not green.blend
    assert off(green.wavelength_nm, MERCURY[0][0]) < 3.5
    assert off(green.power_mw, MERCURY[0][1]) < 3.5
    yellow = [line for line in found if line.wavelength_nm.n > 560]
    if parted:
        for line, (nm, mw) in zip(yellow, MERCURY[1:], strict=True):
            assert off(line.wavelength_nm, nm) < 3.5
            assert off(line.power_mw, mw) < 3.5
    else:
        assert yellow[0].blend
        assert "not one line" in str(yellow[0])
        assert MERCURY[1][0] < yellow[0].wavelength_nm.n < MERCURY[2][0]


def test_sodium_pair_is_one_line_said_to_be_no_single_one(tuning):
    narrow = bench(0.2)
    spectrum = spectrum_of("sodium", narrow, tuning, scans_of(np.random.default_rng(5), narrow), NARROW)
    (line,) = spectrum.lines()
    assert line.blend
    assert SODIUM[0][0] < line.wavelength_nm.n < SODIUM[1][0]
    assert "structure" in [c.name for c in spectrum.failed]


def test_smooth_spectra_hold_no_lines(led, body):
    assert led.lines() == ()
    assert body.lines() == ()


def test_equal_lines_lose_their_dip_nearer_than_a_fwhm():
    """Two sinc^2 side by side: the sum has a dip at 1.0 FWHM and none at 0.93."""

    def middle_over_top(apart):
        x = np.linspace(-1, 1, 2001)
        both = np.sinc(0.88589 * (x - apart / 2)) ** 2 + np.sinc(0.88589 * (x + apart / 2)) ** 2
        return both[1000] / both.max()

    assert middle_over_top(1.0) < 0.999
    assert middle_over_top(0.93) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("drive", [0.05, 0.5, 1.0, 1.6])
def test_passband_area_against_quadrature(drive):
    d = np.linspace(0.0, 3000.0, 1_500_001)
    area = 2 * np.trapezoid(diffraction_efficiency(d, drive), d) + (np.pi / 2) ** 2 * drive / 3000.0
    in_fwhm = area / peak_efficiency(drive) / (np.pi * passband_fwhm(drive))
    assert float(passband_area(drive)) == pytest.approx(float(in_fwhm), rel=1e-5)


@pytest.mark.parametrize("skew", [0.0, 0.1])
def test_lobe_and_sidelobes_make_the_whole_area(skew):
    x = np.linspace(-300.0, 300.0, 600_001)
    whole = float(lobe_area([0.5], skew)[0]) + float(np.trapezoid(stray(x, 0.5, skew), x))
    assert whole == pytest.approx(float(passband_area(0.5)), rel=2e-3)


def test_weights_are_those_of_a_straight_line():
    x = np.array([0.0, 1.0, 2.5, 4.0])
    rows, value, slope = local_weights(x, 1.2, 10.0)
    assert value @ (3.0 + 2.0 * x[rows]) == pytest.approx(5.4)
    assert slope @ (3.0 + 2.0 * x[rows]) == pytest.approx(2.0)


def test_picture_and_text(led):
    ax = led.plot()
    assert "mW/nm" in ax.get_ylabel()
    assert "resolution" in str(led)
    assert "<table>" in led._repr_html_()


def test_wider_stated_passband_means_less_density(led, truth, tuning):
    wide = spectrum_of("white LED", truth, tuning, ufloat(0.4, 0.004))
    narrow = spectrum_of("white LED", truth, tuning, ufloat(0.29, 0.003))
    ratio = narrow.at(566.0) / wide.at(566.0)
    assert ratio.n == pytest.approx(0.4 / 0.29, rel=0.06)


def test_structure_check_speaks_of_lines_only(led, tuning):
    assert next(c for c in led.checks if c.name == "structure").passed


def test_unstated_noise_is_estimated(truth, tuning, scans):
    owner = measured(np.random.default_rng(3), "white LED", truth, PLAN)
    bare = [replace(r, table=r.table.drop(columns="u_optical_power_mw")) for r in owner.readings]
    spectrum = fit_spectrum(bare, tuning, passband=scans)
    assert "stated uncertainty" in [c.name for c in spectrum.failed]
    stated = np.concatenate([r.table["u_optical_power_mw"] for r in owner.readings])
    assert float(np.median(spectrum.rows_used.u_noise_mw)) == pytest.approx(float(np.median(stated)), rel=0.4)
    assert isinstance(spectrum.table, pd.DataFrame)
