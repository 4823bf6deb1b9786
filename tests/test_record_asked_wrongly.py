"""Calibrations asked with a path, a session, the other calibration, text for a number: refused in words."""

from __future__ import annotations

from datetime import date, datetime

import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError, RecordError
from aotf_lab.record import RecordFolder, kept_set_points, read_record, save_record
from aotf_lab.record.drift import control_chart, drift_of
from aotf_lab.record.fault_tree import half_the_light, line_numbers
from aotf_lab.record.opening import opening_check
from aotf_lab.record.parts import change_of_parts
from aotf_lab.record.stored import common_keys
from tests.kept import small_crystal, small_oscillator

OSCILLATOR, CRYSTAL = small_oscillator(), small_crystal()
NOW = pd.DataFrame({"drive_v": [2.0], "frequency_mhz": [49.8]})
PEAK = {"X": ufloat(65.0, 0.002)}


@pytest.mark.parametrize("wrong", ["oscillator.json", None, CRYSTAL])
@pytest.mark.parametrize(
    "ask",
    [
        lambda o: kept_set_points(o, CRYSTAL),
        lambda o: opening_check(o, CRYSTAL, measured="2031-04-02", oscillator_readings=NOW),
        lambda o: line_numbers(CRYSTAL, o or 3, line="X"),
        lambda o: change_of_parts("supply", oscillator=o or 3),
    ],
)
def test_another_thing_for_the_oscillator(ask, wrong):
    with pytest.raises(
        AotfLabError, match=r"oscillator of another kind; found .*; allowed: the kept calibration of an"
    ):
        ask(wrong)


@pytest.mark.parametrize("wrong", ["crystal.json", None, OSCILLATOR])
@pytest.mark.parametrize(
    "ask",
    [
        lambda c: kept_set_points(OSCILLATOR, c),
        lambda c: opening_check(OSCILLATOR, c, measured="2031-04-02", line_peak=PEAK),
        lambda c: line_numbers(c, line="X"),
        lambda c: change_of_parts("supply", crystal=c or 3),
    ],
)
def test_another_thing_for_the_crystal(ask, wrong):
    with pytest.raises(AotfLabError, match=r"crystal of another kind; found .*; allowed: the kept calibration of a cr"):
        ask(wrong)


@pytest.mark.parametrize("day", [date(2031, 4, 2), datetime(2031, 4, 2, 9, 30), "2031-04-02"])
def test_the_day_of_a_check_is_a_date_or_its_text(day):
    found = opening_check(OSCILLATOR, CRYSTAL, measured=day, line_peak=PEAK)
    assert (found.measured, found.crystal.updates[-1].date) == ("2031-04-02", "2031-04-02")


@pytest.mark.parametrize("day", ["2.4.2031", "", 20310402, None])
def test_a_check_on_no_day(day):
    with pytest.raises(RecordError, match="measured: a date that is none; found"):
        opening_check(OSCILLATOR, CRYSTAL, measured=day, line_peak=PEAK)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"oscillator_readings": "today.csv"}, "readings of another kind; found 'today.csv'; .* read the file first"),
        ({"oscillator_readings": {"drive_v": [2.0]}}, "readings of another kind; found a table of names"),
        ({"line_peak": 65.0}, r"line_peak of another kind; found 65; allowed: names of lines and their peaks"),
        ({"line_peak": PEAK, "crystal_c": "21"}, "crystal_c of another kind; found '21'; .* without quotation marks"),
        ({"line_peak": PEAK, "box_c": ufloat(21.0, 0.1)}, "box_c of another kind; .* give its value alone"),
        ({"line_peak": PEAK, "crystal_c": float("nan")}, "crystal_c out of bounds; found nan"),
        ({"line_peak": PEAK, "peak_files": "scan.csv"}, "peak_files of another kind; found 'scan.csv'"),
        ({"line_peak": PEAK, "peak_files": ["scan.csv"]}, "one of peak_files of another kind; found 'scan.csv'"),
        ({"line_peak": PEAK, "instruments": "counter 2"}, "instruments of another kind; found 'counter 2'; .* write"),
    ],
)
def test_readings_of_a_check_that_are_none(options, match):
    with pytest.raises(AotfLabError, match=match):
        opening_check(OSCILLATOR, CRYSTAL, measured="2031-04-02", **options)


def test_instruments_of_a_kind_that_shares_nothing():
    with pytest.raises(AotfLabError, match=r"no such kind of instrument.* found 'scales'; allowed: counter, voltmeter"):
        common_keys({"scales": "B"})
    with pytest.raises(AotfLabError, match="name of the counter of another kind; found 2; allowed: text"):
        common_keys({"counter": 2})


def test_lines_of_kept_set_points():
    assert [p.line for p in kept_set_points(OSCILLATOR, CRYSTAL, "X")] == ["X"]
    with pytest.raises(AotfLabError, match=r"lines of another kind; found 587; .* map a name to a wavelength"):
        kept_set_points(OSCILLATOR, CRYSTAL, 587.0)
    with pytest.raises(AotfLabError, match="wavelength of X of another kind; found '587'; allowed: a finite number"):
        kept_set_points(OSCILLATOR, CRYSTAL, {"X": "587"})
    with pytest.raises(AotfLabError, match="wavelength of X out of bounds; found nan"):
        kept_set_points(OSCILLATOR, CRYSTAL, {"X": float("nan")})


def test_folders_and_files(tmp_path):
    with pytest.raises(AotfLabError, match="record of another kind; found a tuple; allowed: one kept calibration"):
        save_record((OSCILLATOR, CRYSTAL), tmp_path)
    for ask in (RecordFolder, lambda folder: save_record(OSCILLATOR, folder)):
        with pytest.raises(AotfLabError, match="folder of another kind; found nothing; allowed: the folder of kept"):
            ask(None)
    with pytest.raises(AotfLabError, match="path of another kind; found an object of the kind OscillatorRecord"):
        read_record(OSCILLATOR)


def test_records_of_a_drift(tmp_path):
    with pytest.raises(AotfLabError, match="records of another kind; found an object of the kind OscillatorRecord"):
        drift_of(OSCILLATOR)
    with pytest.raises(
        AotfLabError, match=r"one of records of another kind; found 'a.json'; .* read each: read_record"
    ):
        drift_of(["a.json"])
    pair = [OSCILLATOR, small_oscillator(measured="2031-09-02")]
    with pytest.raises(AotfLabError, match=r"drives_v of another kind; found 3; allowed: plain numbers in a list"):
        drift_of(pair, drives_v=3.0)
    with pytest.raises(AotfLabError, match=r"u_temperature_k out of bounds; found -0.2; allowed: a finite"):
        drift_of(pair, u_temperature_k=-0.2)


@pytest.mark.parametrize(
    ("options", "match"),
    [
        ({"dates": "2031-01-07"}, "dates of another kind; found '2031-01-07'; allowed: dates in a list"),
        ({"values": [ufloat(1.0, 0.1)] * 3}, "one of values of another kind; .* give plain numbers"),
        ({"values": ["1", "2", "3"]}, "one of values of another kind; found '1'"),
        ({"u": 0.1}, "u of another kind; found 0.1; allowed: plain numbers in a list"),
        ({"kind": "mean"}, "kind of chart; found 'mean'; allowed: individuals or ewma"),
        ({"centre": float("nan")}, "centre out of bounds; found nan"),
        ({"sigma": "1"}, "sigma of another kind; found '1'"),
        ({"baseline": 2.5}, "baseline out of bounds; found 2.5; allowed: a whole number"),
        ({"weight": "x"}, "weight of another kind; found 'x'"),
    ],
)
def test_a_chart_of_what_are_no_numbers(options, match):
    three = {"dates": ["2031-01-07", date(2031, 2, 3), "2031-03-05"], "values": [4.0, 5.0, 3.0]}
    assert control_chart(**three).baseline == 3
    with pytest.raises(AotfLabError, match=match):
        control_chart(**{**three, **options})


@pytest.mark.parametrize(
    ("stored", "today", "match"),
    [
        (CRYSTAL, PEAK, "stored of another kind; found an object of the kind CrystalRecord; .* line_numbers"),
        ({"light_mw": "1"}, {"light_mw": ufloat(0.5, 0.1)}, "stored light_mw of another kind; found '1'"),
        ({"light_mw": 1.0}, 0.5, "today of another kind; found 0.5; allowed: names and numbers"),
        ({"light_mw": 1.0}, {"light_mw": None}, "light_mw of another kind; found nothing; allowed: a finite number"),
    ],
)
def test_a_fault_tree_of_what_are_no_numbers(stored, today, match):
    with pytest.raises(AotfLabError, match=match):
        half_the_light(stored, today)


def test_line_numbers_take_a_plain_drive():
    assert "frequency_mhz" in line_numbers(CRYSTAL, OSCILLATOR, line="X", drive_v=6)
    with pytest.raises(AotfLabError, match="drive_v of another kind; found '6'"):
        line_numbers(CRYSTAL, OSCILLATOR, line="X", drive_v="6")
    with pytest.raises(AotfLabError, match="also of another kind; found 'dark'; allowed: names and numbers"):
        line_numbers(CRYSTAL, line="X", also="dark")
