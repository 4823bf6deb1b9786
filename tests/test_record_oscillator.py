"""The kept oscillator: as the fitted one, months later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from uncertainties import correlation_matrix, ufloat

import aotf_lab
from aotf_lab.errors import AotfLabError, OutOfRangeError, RecordError
from aotf_lab.record import CauseBook, OscillatorRecord, oscillator_record
from aotf_lab.record.knots import enough_knots
from tests.kept import small_oscillator


@pytest.fixture(scope="module")
def kept(demo: aotf_lab.Session) -> OscillatorRecord:
    return oscillator_record(demo.vco, name="Skerry", measured="2031-03-02")


def test_curve_and_u_are_the_fitted_ones_everywhere(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    places = np.linspace(*demo.vco.range_v, 2711)
    fitted, stored = demo.vco.frequency(places), kept.frequency(places, CauseBook())
    assert max(abs(a.n - b.n) for a, b in zip(fitted, stored, strict=True)) < 1e-4
    assert max(abs(b.s / a.s - 1) for a, b in zip(fitted, stored, strict=True)) < 0.01


def test_differences_along_the_curve_keep_their_u(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    fitted, stored = demo.vco.frequency(np.linspace(1, 13, 25)), kept.frequency(np.linspace(1, 13, 25))
    for step in (1, 5, 20):
        for k in range(25 - step):
            assert (stored[k + step] - stored[k]).s == pytest.approx((fitted[k + step] - fitted[k]).s, rel=0.01)


def test_drive_slope_and_next_reading_are_the_fitted_ones(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    for mhz in (43.0, 54.76, 64.23, 86.34, 93.2):
        fitted, stored = demo.vco.drive(mhz), kept.drive(mhz)
        assert stored.n == pytest.approx(fitted.n, abs=2e-5)
        assert stored.s == pytest.approx(fitted.s, rel=0.01)
        assert kept.sensitivity(fitted.n) == pytest.approx(demo.vco.sensitivity(fitted.n).n, rel=1e-3)
    places = np.linspace(*demo.vco.range_v, 50)
    low, high = demo.vco.prediction_band(places)
    half = demo.vco.fit.coverage_factor() * kept.prediction_u_mhz(places)
    assert half == pytest.approx(
        0.5 * (high - low), rel=0.25
    )  # one scatter for the range, where the fit's goes with slope
    assert kept.prediction_u_mhz(6.0) == pytest.approx(float(np.hypot(kept.frequency(6.0).s, kept.u_reading_mhz)))


def test_a_voltage_with_u_brings_it_along(kept: OscillatorRecord) -> None:
    set_v = ufloat(6.0, 0.01)
    assert kept.frequency(set_v).s == pytest.approx(np.hypot(kept.frequency(6.0).s, 0.01 * kept.sensitivity(6.0)))
    assert kept.drive(kept.frequency(set_v)).n == pytest.approx(6.0, abs=1e-9)
    assert kept.drive(kept.frequency(set_v)).s == pytest.approx(0.01, rel=1e-6)
    assert kept.frequency([2.0, 3.0])[1].n == pytest.approx(kept.frequency(3.0).n, rel=1e-12)


def test_u_of_the_drive_is_that_of_drawn_curves() -> None:
    """GUM Supplement 1 (JCGM 101:2008): propagation by draws, here of whole curves, each inverted by scipy's brentq."""
    record = small_oscillator()
    draws = np.random.default_rng(7).multivariate_normal(record.numbers.values, record.numbers.covariance(), 4000)
    curves = [CubicSpline(record.drive_v, f - 57.3) for f in draws]
    roots = [brentq(curve, 0.0, 10.0) for curve in curves]
    drive = record.drive(57.3)
    assert drive.n == pytest.approx(np.mean(roots), abs=4 * drive.s / 4000**0.5)
    assert drive.s == pytest.approx(np.std(roots), rel=0.05)  # 4.5 standard deviations of a std from 4,000 draws


def test_the_voltage_of_another_meter_is_the_sessions(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    places, book = [54.76, 64.23, 86.34], CauseBook()
    fitted, stored = demo.vco.drive_true(places), kept.drive_true(places, book)
    for own, other in zip(fitted, stored, strict=True):
        assert other.n == pytest.approx(own.n, abs=2e-5)
        assert other.s == pytest.approx(own.s, rel=1e-4)
    assert np.array(correlation_matrix(list(stored))) == pytest.approx(
        np.array(correlation_matrix(list(fitted))), abs=1e-4
    )
    assert kept.drive_true(64.23, book).n == pytest.approx(stored[1].n, rel=1e-12)


def test_gain_and_offset_add_as_the_gum_says() -> None:
    """JCGM 100:2008, 5.1.2 (eq. 10) and, for what two voltages owe to one meter, F.1.2.3."""
    record = replace(small_oscillator(), u_gain=2e-3, u_offset_v=3e-3)
    low, high = record.drive_true(45.0), record.drive_true(80.0)
    shown = record.drive(45.0), record.drive(80.0)
    for true, own in zip((low, high), shown, strict=True):
        assert true.s**2 == pytest.approx(own.s**2 + (2e-3 * own.n) ** 2 + 3e-3**2)
    apart = (high - low).s ** 2 - (shown[1] - shown[0]).s ** 2
    assert apart == pytest.approx((2e-3 * (shown[1].n - shown[0].n)) ** 2)


def test_two_voltmeters_share_nothing(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    named = oscillator_record(demo.vco, name="x", measured="2031-03-02", instruments={"voltmeter": "meter 2"})
    assert ("u of voltmeter meter 2", "gain 0.1 %, offset 1 mV") in named.rows()
    one, other = ({v.tag for v in r.drive_true(64.23).error_components()} for r in (kept, named))
    assert {"voltmeter gain", "voltmeter offset"} <= one
    assert {"voltmeter gain@meter 2", "voltmeter offset@meter 2"} <= other


def test_a_calibration_without_its_voltmeters_errors() -> None:
    assert not [name for name, _ in small_oscillator().rows() if "voltmeter" in name]
    with pytest.raises(AotfLabError, match=r"found no gain and offset of the voltmeter; .*; keep its session anew"):
        small_oscillator().drive_true(60.0)


def test_what_was_known_beside_the_curve(demo: aotf_lab.Session, kept: OscillatorRecord) -> None:
    assert kept.conditions["temperature_c"] == pytest.approx(demo.vco.readings.table["temperature_c"].mean())
    assert [s.name for s in kept.made_of] == ["vco_warm.csv"]
    assert set(kept.versions) == {"aotf-lab", "lmfit", "numpy", "scipy"}
    assert kept.checks == demo.vco.fit.checks
    wandering = oscillator_record(demo.vco, name="x", measured="2031-03-02", wander_mhz=0.03)
    assert wandering.u_reading_mhz == pytest.approx(float(np.hypot(0.03, kept.u_reading_mhz)))


def test_beyond_the_range() -> None:
    record = small_oscillator()
    with pytest.raises(OutOfRangeError, match=r"drive voltage lies outside the measured range; found 10\.5 V"):
        record.frequency(10.5)
    with pytest.raises(OutOfRangeError, match="drive voltage lies outside the measured range; found -1 V"):
        record.prediction_u_mhz(-1.0)
    with pytest.raises(OutOfRangeError, match="frequency lies outside the measured range; found 90 MHz"):
        record.drive(90.0)
    assert record.drive(record.range_mhz[1] + 0.003).n == 10.0


def test_a_curve_that_no_knots_follow() -> None:
    with pytest.raises(RecordError, match="too rough to be kept by its knots; found a disagreement at 13 knots"):
        enough_knots(lambda knots: knots, lambda knots: False, np.array([0.0, 1.0, 2.0]), 3)


def test_a_date_that_is_none(demo: aotf_lab.Session) -> None:
    with pytest.raises(RecordError, match=r"a date that is none; found '2\.3\.2031'; allowed: year-month-day"):
        oscillator_record(demo.vco, name="Skerry", measured="2.3.2031")
