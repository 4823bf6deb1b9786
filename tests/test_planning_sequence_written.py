"""Sequences: what is written for a generator or a converter, and what is refused."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from aotf_lab.crystal.passbands.passbands import passbands
from aotf_lab.errors import AotfLabError, OutOfRangeError, UnsafeDriveError
from aotf_lab.planning.sequence import OFF, PARK, Step, sequence

TIMES = {"delay_us": 9.3, "rise_us": 1.6, "port_bandwidth_khz": 180.0}


@pytest.fixture(scope="module")
def bands(demo):
    return passbands(demo.scans, demo.efficiency, demo.tuning, wavelengths_nm=demo.wavelengths_nm)


def test_the_file_is_read_back(demo, bands, tmp_path):
    found = sequence(demo, [("D", 40.0), ("E", 30.0), (PARK, 20.0), (OFF, 20.0)], passbands=bands, park=44.566,
                     update_us=0.5, order="given", **TIMES)  # fmt: skip
    with found.to_csv(tmp_path / "staircase.csv").open(newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == ["Time (us)", "Port (V)", "RF on"]
    times = [float(r[0]) for r in rows[1:]]
    assert times == pytest.approx([*found.staircase.time_us, found.cycle_us])
    assert np.mod(times, 0.5) == pytest.approx(0.0)
    assert [r[2] for r in rows[1:]] == ["1", "1", "1", "0", "1"]
    assert float(rows[4][1]) == pytest.approx(found["D"].place.volts, abs=1e-6)
    assert [t.dwell_us >= t.place.step.dwell_us - 1e-6 for t in found.turns] == [True] * 4


def test_codes_of_a_converter(demo, bands, tmp_path):
    found = sequence(demo, {"D": 40.0, "E": 40.0}, passbands=bands, **TIMES)
    codes = found.dac_codes(14, 10.0, low_v=-10.0)
    assert codes.step_v == pytest.approx(20 / 16384)
    assert np.abs(codes.volts - found.staircase.drive_v).max() <= codes.step_v / 2
    for k, turn in enumerate(found.turns):
        made = demo.vco.frequency_at_true(float(codes.volts[k])).n - demo.vco.frequency_at_true(turn.place.volts).n
        assert codes.error_khz[turn.name] == pytest.approx(1e3 * made, abs=0.02)
    coarse = found.dac_codes(8, 10.0)
    # weak-drive sinc^2 by itself: 2.7831 / FWHM is its half-width constant (x where sin^2 x / x^2 = 1/2 is 1.39156)
    for name, error in coarse.error_khz.items():
        x = 2 * 1.39156 * error / 1e3 / bands.fwhm_mhz(name).n
        assert coarse.light_lost_percent[name] == pytest.approx(100 * (1 - np.sinc(x / np.pi) ** 2), rel=1e-3, abs=1e-6)
    text = codes.to_csv(tmp_path / "codes.csv").read_text().splitlines()
    assert text[0] == "Time (us),Code (14 bit)"
    assert [int(r.split(",")[1]) for r in text[1:-1]] == list(codes.code)
    assert "14-bit codes, -10 to 10 V, 1.22 mV a step" in str(codes)


def test_codes_out_of_range_are_refused_with_a_cure(demo, bands):
    found = sequence(demo, {"B": 40.0, "E": 40.0}, passbands=bands, **TIMES)
    with pytest.raises(
        AotfLabError, match=r"B: volts that the converter cannot make; found 11.8\d* V; .*gain of at least 1.19"
    ):
        found.dac_codes(14, 10.0, low_v=-10.0)
    with pytest.raises(
        AotfLabError, match=r"E: volts that the converter cannot make; found 5.4\d* V; allowed: 6 to 19"
    ):
        found.dac_codes(10, 20.0, low_v=6.0)
    with pytest.raises(AotfLabError, match=r"bits of a converter; found 0; allowed: 1 to 24"):
        found.dac_codes(0, 10.0)
    with pytest.raises(AotfLabError, match=r"reference of a converter; found 0 V over 0 V; allowed: above low_v"):
        found.dac_codes(8, 0.0)


@pytest.mark.parametrize(
    ("steps", "more", "error", "words"),
    [
        ({"D": 40.0}, {}, AotfLabError, r"a sequence without a change; found D"),
        ({"D": 40.0, "E": -1.0}, {}, AotfLabError, r"dwell of step E out of bounds; found -1; allowed: .* above 0"),
        ({"D": 40.0, "Z": 40.0}, {}, AotfLabError, r"no such line; found 'Z'"),
        ({"D": 40.0, PARK: 40.0}, {}, AotfLabError, r"no place to park; found park not given"),
        ({"D": 40.0, PARK: 40.0}, {"park": 20.0}, OutOfRangeError, r"park frequency lies outside"),
        ({"D": 40.0, "E": 40.0}, {"supply_v": 12.0}, UnsafeDriveError, r"a supply above the safe one; found 12.00 V"),
        ({"D": 40.0, "E": 40.0}, {"rise_us": 0.0}, AotfLabError, r"rise time \(us\) of the light; found 0;"),
        ({"D": 40.0, "E": 40.0}, {"port_bandwidth_khz": 0.0}, AotfLabError, r"bandwidth \(kHz\) of the osc"),
        ({"D": 40.0, "E": 40.0}, {"good_share": 0.3}, AotfLabError, r"counts as good; found 0.3; allowed: above 0.5"),
        ({"D": 40.0, "E": 40.0}, {"update_us": 0.0}, AotfLabError, r"update_us out of bounds; found 0;"),
        ({"A": 40.0, "E": 40.0}, {"range_v": (0, 10)}, AotfLabError, r"A: volts that cannot be set; found 13.8\d* V"),
        ({"D": 40.0, "E": 40.0}, {"incident_mw": {"D": 1.0}}, AotfLabError, r"no incident power of a line; found E"),
        ([("D", 9.0), ("D", 9.0), ("E", 9.0)], {"order": "given"}, AotfLabError, r"the same step twice in a row"),
        ([Step("D", 2.0, 1e4), Step("E", 2.0)], {"equal_light": True}, AotfLabError, r"would have to be none"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(demo, bands, steps, more, error, words):
    with pytest.raises(error, match=words):
        sequence(demo, steps, passbands=bands, **{**TIMES, **more})
