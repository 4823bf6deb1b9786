"""The kept crystal: as the fitted curves, years later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from uncertainties import ufloat

import aotf_lab
from aotf_lab.errors import AotfLabError, OutOfRangeError, RecordError
from aotf_lab.planning import Curves
from aotf_lab.record import CauseBook, CrystalRecord, crystal_record
from tests.kept import small_crystal


@pytest.fixture(scope="module")
def kept(demo: aotf_lab.Session) -> CrystalRecord:
    return crystal_record(demo.curves, demo.wavelengths_nm, name="Skerry", measured="2031-03-02")


def test_tuning_curve_and_u_are_the_fitted_ones_everywhere(demo: aotf_lab.Session, kept: CrystalRecord) -> None:
    nm = np.linspace(*demo.tuning.range_nm, 1733)
    fitted, stored = demo.tuning.frequency(nm), kept.frequency(nm, CauseBook())
    assert max(abs(a.n - b.n) for a, b in zip(fitted, stored, strict=True)) < 1e-4
    assert max(abs(b.s / a.s - 1) for a, b in zip(fitted, stored, strict=True)) < 0.01


def test_wavelengths_back_and_differences(demo: aotf_lab.Session, kept: CrystalRecord) -> None:
    mhz = np.linspace(demo.tuning.range_mhz[0] + 0.1, demo.tuning.range_mhz[1] - 0.1, 21)
    for fitted, stored in zip(demo.tuning.wavelength(mhz), kept.wavelength(mhz), strict=True):
        assert stored.n == pytest.approx(fitted.n, abs=1e-3)
        assert stored.s == pytest.approx(fitted.s, rel=0.01)
    fitted, stored = demo.tuning.frequency([480.0, 490.0, 650.0]), kept.frequency([480.0, 490.0, 650.0])
    for a, b in ((0, 1), (0, 2), (1, 2)):
        assert (stored[b] - stored[a]).s == pytest.approx((fitted[b] - fitted[a]).s, rel=0.01)
    assert kept.wavelength(kept.frequency(ufloat(555.0, 0.1))).s == pytest.approx(0.1, rel=1e-6)


def test_lines_are_the_fitted_ones(demo: aotf_lab.Session, kept: CrystalRecord) -> None:
    for name, scan in demo.scans.items():
        for stored, fitted in (
            (kept.peak(name), scan.centre_mhz),
            (kept.fwhm_mhz(name), scan.fwhm_mhz),
            (kept.number("signal_mw", name), scan.peak_power_mw),
            (kept.number("drive", name), scan.drive_ratio),
        ):
            assert stored.n == pytest.approx(fitted.n, rel=1e-12)
            assert stored.s == pytest.approx(fitted.s, rel=1e-6)
        assert kept.fwhm_mhz(scan.centre_mhz.n + 1.0).n == pytest.approx(demo.curves.fwhm_mhz(scan.centre_mhz.n + 1.0))
    assert kept.light("E").n == pytest.approx(demo.efficiency.line("E").peak_efficiency.n)
    assert kept.saturation_w("E").s == pytest.approx(demo.efficiency.line("E").saturation_power_w.s, rel=1e-6)
    assert kept.lines["A"] == pytest.approx(demo.found_nm["A"].n)
    assert kept.number("wavelength", "A").s == pytest.approx(demo.found_nm["A"].s, rel=1e-6)


def test_peaks_of_one_counter_differ_by_less_than_both_say(demo: aotf_lab.Session, kept: CrystalRecord) -> None:
    fitted = demo.scans["D"].centre_mhz - demo.scans["E"].centre_mhz
    stored = kept.peak("D") - kept.peak("E")
    assert stored.s == pytest.approx(fitted.s, rel=1e-6)
    assert stored.s < np.hypot(kept.peak("D").s, kept.peak("E").s)


def test_a_line_of_unknown_wavelength_and_a_drive_too_low(demo: aotf_lab.Session) -> None:
    curves = replace(demo.curves, tuning=None)
    kept = crystal_record(curves, {"A": None, "E": 589.12}, name="Skerry", measured="2031-03-02")
    assert np.isnan(kept.lines["A"])
    assert not kept.known("light", "A")
    assert kept.known("light", "E")
    with pytest.raises(AotfLabError, match="this calibration has no tuning curve; found single lines"):
        kept.frequency(500.0)


def test_spline_is_scipys_over_the_stated_place() -> None:
    record = small_crystal()
    nm, f = record.wavelengths_nm, record.numbers.values[:5]
    curve = CubicSpline(1e6 / nm[::-1] ** 2, (nm * f)[::-1])
    assert record.frequency(527.0).n == pytest.approx(curve(1e6 / 527.0**2) / 527.0, rel=1e-12)


def test_what_is_not_known() -> None:
    record = small_crystal()
    with pytest.raises(OutOfRangeError, match="wavelength lies outside the measured range; found 700 nm"):
        record.frequency(700.0)
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range; found 20 MHz"):
        record.wavelength(20.0)
    with pytest.raises(AotfLabError, match="no fwhm of this line in the calibration; found 'Y'; allowed: X"):
        record.fwhm_mhz("Y")
    with pytest.raises(AotfLabError, match="no saturation_w of this line in the calibration; found 'X'; allowed: none"):
        record.saturation_w("X")
    with pytest.raises(RecordError, match="nothing is known of this crystal; found no scan and no tuning curve"):
        crystal_record(Curves(), {}, name="Skerry", measured="2031-03-02")
