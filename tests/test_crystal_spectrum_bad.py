"""What a spectrum refuses, and what its checks name. Invented data: behaviour only."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal import fit_tuning
from aotf_lab.crystal.spectrum.fit import fit_spectrum
from aotf_lab.crystal.spectrum.response import Response, response_table
from aotf_lab.errors import AotfLabError, OutOfRangeError, ReadingsError
from aotf_lab.simulate.spectrum import SpectrumPlan
from tests.benchmarks.spectrum_bench import bench, measured, tuning_of

PLAN = SpectrumPlan(60.0, 84.0, 0.14)
WIDTH = ufloat(0.29, 0.003)


@pytest.fixture(scope="module")
def tuning():
    return tuning_of(np.random.default_rng(1), bench())


@pytest.fixture(scope="module")
def tables():
    return [r.table for r in measured(np.random.default_rng(3), "white LED", bench(), PLAN).readings]


def failed(spectrum):
    return {c.name: c.detail for c in spectrum.failed}


def test_readings_beyond_the_tuning_curve_are_named(tables):
    lines = pd.DataFrame({"wavelength_nm": [500.0, 530.0, 560.0], "u_wavelength_nm": 0.05,
                          "frequency_mhz": [78.83, 72.67, 67.5], "u_frequency_mhz": 0.003})  # fmt: skip
    spectrum = fit_spectrum(tables, fit_tuning(lines), passband=WIDTH)
    assert "range" in failed(spectrum)
    assert "row 1" in failed(spectrum)["range"]
    assert len(spectrum.rows_used.beyond) + len(spectrum.nominal_nm) == 2 * len(tables[0])


def test_readings_beyond_the_response_are_named(tables, tuning):
    short = response_table(pd.DataFrame({"wavelength_nm": [500.0, 560.0], "response": [0.9, 1.1]}))
    spectrum = fit_spectrum(tables, tuning, passband=WIDTH, response=short)
    assert "range" in failed(spectrum)
    assert spectrum.nominal_nm.max() <= 560.0


def test_coarse_steps_are_named(tuning):
    coarse = measured(np.random.default_rng(3), "white LED", bench(), SpectrumPlan(60.0, 84.0, 0.4), ("up",)).readings
    spectrum = fit_spectrum(coarse, tuning, passband=WIDTH, time_constant_s=0.3)
    assert "half the resolution" in failed(spectrum)["sampling"]


def test_too_high_a_floor_is_named(tables, tuning):
    spectrum = fit_spectrum(tables, tuning, passband=WIDTH, floor_mw=ufloat(0.02, 1e-5))
    assert "too high" in failed(spectrum)["zero"]


def test_light_lost_between_the_ways_is_named(tables, tuning):
    drifted = [tables[0], tables[1].assign(optical_power_mw=0.95 * tables[1]["optical_power_mw"])]
    assert "warm up" in failed(fit_spectrum(drifted, tuning, passband=WIDTH))["up and down"]


def test_light_of_the_second_harmonic_is_named():
    lines = pd.DataFrame({"wavelength_nm": [420.0, 500.0, 600.0, 760.0], "u_wavelength_nm": 0.5,
                          "frequency_mhz": [104.0, 78.8, 62.7, 47.2], "u_frequency_mhz": 0.5})  # fmt: skip
    plan = SpectrumPlan(49.0, 60.0, 0.14)
    tables = measured(np.random.default_rng(3), "white LED", bench(), plan).readings
    spectrum = fit_spectrum(tables, fit_tuning(lines), passband=WIDTH)
    assert "second harmonic" in failed(spectrum)["harmonics"]


def test_noise_above_what_is_stated_scales_u_up(tables, tuning):
    bold = [t.assign(u_optical_power_mw=0.2 * t["u_optical_power_mw"]) for t in tables]
    spectrum, honest = (fit_spectrum(t, tuning, passband=WIDTH) for t in (bold, tables))
    assert "scatter" in failed(spectrum)
    assert float(np.median(spectrum.u_noise)) == pytest.approx(float(np.median(honest.u_noise)), rel=0.3)


def test_dark_reading_that_is_no_number(tables, tuning):
    broken = tables[0].copy()
    broken.loc[3, "dark_power_mw"] = np.nan
    with pytest.raises(ReadingsError, match="dark reading of a spectrum is not a number; found nan"):
        fit_spectrum([broken, tables[1]], tuning, passband=WIDTH)


def test_spectrum_out_of_reach(tables, tuning):
    far = [t.assign(frequency_mhz=t["frequency_mhz"] + 100.0) for t in tables]
    with pytest.raises(ReadingsError, match=r"too few readings of a spectrum .* found 0 of 344 readings"):
        fit_spectrum(far, tuning, passband=WIDTH)


@pytest.mark.parametrize(("width", "words"), [(0.0, "found 0 MHz"), (-0.3, "found -0.3 MHz")])
def test_width_that_cannot_be(tables, tuning, width, words):
    with pytest.raises(AotfLabError, match=f"FWHM of the passband; {words}"):
        fit_spectrum(tables, tuning, passband=width)


def test_no_scan_of_the_passband(tables, tuning):
    with pytest.raises(ReadingsError, match="no passband to turn power into power per nm; found 0"):
        fit_spectrum(tables, tuning, passband=[])


def test_drive_that_cannot_be(tables, tuning):
    with pytest.raises(AotfLabError, match=r"drive ratio P / P_sat of a spectrum; found 3;"):
        fit_spectrum(tables, tuning, passband=WIDTH, drive_ratio=3.0)


def test_wavelength_beyond_the_spectrum(tables, tuning):
    spectrum = fit_spectrum(tables, tuning, passband=WIDTH)
    with pytest.raises(OutOfRangeError, match="wavelength lies outside the measured range; found 700 nm"):
        spectrum.at(700.0)
    with pytest.raises(OutOfRangeError, match="found 400 nm"):
        spectrum.power_mw(400.0, 600.0)
    with pytest.raises(OutOfRangeError, match="found 700 nm"):
        spectrum.resolution_nm(700.0)


def stated(**columns):
    return pd.DataFrame({"wavelength_nm": [400.0, 500.0, 600.0], "response": [1.0, 1.0, 1.0]} | columns)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (stated(response=[1.0, 0.0, 1.0]), "detector response; found 0; allowed: a number above zero"),
        (stated(wavelength_nm=[400.0, 400.0, 500.0]), "each wavelength once"),
        (stated(u_response=[0.1, -0.1, 0.1]), "u of the detector response; found -0.1"),
        (stated().iloc[:1], "too few rows for the detector response; found 1"),
    ],
)
def test_response_that_cannot_be(table, words):
    with pytest.raises(ReadingsError, match=words):
        response_table(table)


def test_response_keeps_its_shared_scale():
    made = response_table(stated(u_response=[0.01, 0.01, 0.01]), u_scale=0.05)
    a, b = made(450.0), made(550.0)
    assert a.s == pytest.approx(np.hypot(0.05, 0.01 / 2**0.5), rel=1e-6)
    assert (a - b).s == pytest.approx(0.01 / 2**0.5, rel=1e-6)
    with pytest.raises(OutOfRangeError, match="wavelength of the detector response lies outside"):
        made(700.0)


def test_response_with_plain_values_stays_exact():
    made = Response("r", np.array([400.0, 600.0]), np.array([1.0, 2.0], dtype=object))
    assert float(made(500.0)) == 1.5
    assert made.covers(np.array([399.0, 500.0])).tolist() == [False, True]


def test_readings_without_direction_or_time_still_count(tables, tuning):
    bare = tables[0][["frequency_mhz", "optical_power_mw", "u_optical_power_mw"]]
    spectrum = fit_spectrum(bare, tuning, passband=WIDTH)
    assert "scan back" in failed(spectrum)["lag"]
    assert replace(spectrum, label="lamp")._title() == "Spectrum of lamp"
