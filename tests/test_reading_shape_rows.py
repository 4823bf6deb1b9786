"""What rows mean together with what stands above them: legs, intervals, counts, clocks. Common practice, no source."""

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_counter, read_power_log, read_table
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.shape import plain_rows
from aotf_lab.reading.shape.legs import turn_of


def sweep(drives):
    return "Drive (V),Counter (MHz)\n" + "".join(f"{v},{40 + 5 * v:g}\n" for v in drives)


def test_up_and_down_in_one_file(log):
    readings = read_counter(log(sweep([1, 2, 3, 4, 3, 2, 1])))
    assert readings.table["direction"].tolist() == ["up"] * 4 + ["down"] * 3
    assert "drive_v goes up to line 5 and down from line 6 on" in str(readings.receipts[0])


@pytest.mark.parametrize(
    "drives",
    [
        [1, 2, 3, 4, 5, 6, 7],
        [1, 2, 3, 4, 3.9, 3.8],
        [1, 6, 2, 6, 3, 6, 4, 6],
        [1, 2, 3, 2],
        [1, 5, 2, 5, 9, 5, 2, 5, 1],
    ],
)
def test_what_is_no_clean_rise_and_fall(log, drives):
    assert "direction" not in read_counter(log(sweep(drives))).table.columns


def test_a_fall_and_then_a_rise():
    assert turn_of(np.array([5.0, 4, 3, 2, 1, 2, 3, 4, 5])) == (5, "down")


def test_a_direction_that_the_file_states_is_left(log):
    text = "Drive (V),Counter (MHz),Direction\n" + "".join(f"{v},{40 + v},up\n" for v in (1, 2, 3, 4, 3, 2, 1))
    assert set(read_counter(log(text)).table["direction"]) == {"up"}


@pytest.mark.parametrize(
    "line", ["Sample interval: 0.5 s", "dt (ms): 500", "Sample rate: 2 Hz", "Sampling rate;2 S/s", "Interval = 500 ms"]
)
def test_the_time_from_an_interval(log, line):
    text = f"{line}\nDiffracted (uW);Dark (uW)\n412;2\n---;2\n414;2\n"
    readings = read_power_log(log(text))
    assert readings.table["time_s"].tolist() == [0.0, 1.0]
    assert [s.use for s in readings.receipts[0].settings] == ["time_s: rows counted from 0 at the first"]


def test_an_interval_without_a_unit_makes_no_time(log):
    readings = read_power_log(log("Sample interval: 0.5\nDiffracted (uW);Dark (uW)\n412;2\n414;2\n"))
    assert "time_s" not in readings.table.columns
    assert readings.receipts[0].settings[0].use.startswith("not used: it needs a number above 0 with a unit")


def test_a_line_that_is_passed_over_was_a_sample_too(log):
    path = log("Sample interval: 2 s\nDiffracted (uW);Dark (uW)\n412;2\nhand in the beam;\n414;2\n")
    table = read_power_log(path, layout=Layout(skip_lines={4: "hand in the beam"})).table
    assert table["time_s"].tolist() == [0.0, 4.0]


def test_a_layout_replaces_what_the_file_states(log):
    path = log("Sample interval: 2 s\nDiffracted (uW);Dark (uW)\n412;2\n414;2\n")
    readings = read_power_log(path, layout=Layout(settings={"sample interval": "3 s"}))
    assert readings.table["time_s"].tolist() == [0.0, 3.0]
    assert [(s.value, s.line) for s in readings.receipts[0].settings] == [("3 s", 0)]


@pytest.mark.parametrize(
    ("offset", "drive_v"), [("512 counts", 1.0), ("0.5 V", 3.06), ("-12 mV", 2.548), ("512 LSB", 1.0)]
)
def test_counts_with_scale_and_offset(log, offset, drive_v):
    # by hand: (1012 - 512) x 2 mV = 1 V;  1012 x 2 mV + offset
    text = f"Scale: 2.0 mV/count\nOffset: {offset}\nDrive (counts),Counter (MHz)\n1012,46.25\n1512,51.25\n"
    readings = read_counter(log(text))
    expected = drive_v if "counts" in offset or "LSB" in offset else 2.024 + {"0.5 V": 0.5, "-12 mV": -0.012}[offset]
    assert readings.table["drive_v"].tolist()[0] == pytest.approx(expected)
    assert all(s.use for s in readings.receipts[0].settings)


def test_an_offset_that_does_not_say_of_what(log):
    with pytest.raises(ReadingError, match=r"log.csv:2: an offset that does not say.*found '512'.*in a layout"):
        read_counter(log("Scale: 2.0 mV/count\nOffset: 512\nDrive (counts),Counter (MHz)\n1012,46.25\n"))


def test_an_offset_of_another_kind(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:2: an offset that is neither in counts nor of the kind of the scale"
    ):
        read_counter(log("Scale: 2.0 mV/count\nOffset: 3 mW\nDrive (counts),Counter (MHz)\n1012,46.25\n"))


def test_counts_without_a_scale(log):
    with pytest.raises(ReadingError, match=r"log.csv:1, column 'Drive \(counts\)': counts for drive_v, and no scale"):
        read_counter(log("Drive (counts),Counter (MHz)\n1012,46.25\n"))


def test_a_scale_that_is_none(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: a scale of counts that is no number with a unit; found '2.0'"):
        read_counter(log("Scale: 2.0\nDrive (counts),Counter (MHz)\n1012,46.25\n"))


def test_a_scale_that_is_none_of_counts_is_left_alone(log):
    readings = read_counter(log("Scale: 10\nDrive (V),Counter (MHz)\n1,46.25\n"))
    assert readings.table["drive_v"].tolist() == [1.0]
    assert readings.receipts[0].settings[0].use == "not applied; compare with session.toml"
    assert read_counter(log("Scale: linear\nDrive (V),Counter (MHz)\n1,46.25\n")).table["drive_v"].tolist() == [1.0]


def test_a_probe_is_not_multiplied_in(log):
    readings = read_counter(log("Probe: 10x\nCoupling: DC\nOperator: none\nDrive (V),Counter (MHz)\n1.5,46.25\n2,48\n"))
    assert readings.table["drive_v"].tolist() == [1.5, 2.0]
    uses = {s.key: s.use for s in readings.receipts[0].settings}
    applied = "not applied; compare with session.toml"
    assert uses == {"Probe": applied, "Coupling": applied, "Operator": ""}


def test_a_date_beside_a_time_of_day(log):
    text = "Date,Time,Diffracted (uW)\n2031-03-04,23:59:58,412\n2031-03-05,00:00:02,414\n"
    readings = read_power_log(log(text))
    assert readings.table["time_s"].tolist() == [0.0, 4.0]
    assert readings.receipts[0].start == datetime(2031, 3, 4, 23, 59, 58)


def test_a_start_above_the_headings(log):
    readings = read_power_log(log("Start: 2031-03-04 09:15:00\nTime (s),Diffracted (uW)\n0,412\n1,414\n"))
    assert readings.receipts[0].start == datetime(2031, 3, 4, 9, 15)
    assert readings.receipts[0].settings[0].use == "start of the readings"


def test_a_counted_time_that_falls_is_flagged_and_kept(log):
    readings = read_power_log(log("Time (s),Diffracted (uW)\n0,412\n10,414\n0,415\n10,416\n"))
    assert readings.table["time_s"].tolist() == [0.0, 10.0, 0.0, 10.0]
    assert [(f.line, f.reason.split(":")[0]) for f in readings.receipts[0].flagged] == [(4, "time falls by 10 s")]


def test_the_receipt_counts_each_column(log):
    receipt = read_counter(
        log("Drive (mV),Counter (MHz),Temperature (degC)\n1500,46.5,\n500,43,22\n1000,---,\n")
    ).receipts[0]
    drive, counter, temperature = receipt.columns
    assert (drive.count, drive.low, drive.high) == (2, 0.5, 1.5)
    assert (counter.first_raw, counter.first, counter.last_raw, counter.last) == ("46.5", 46.5, "43", 43.0)
    assert (temperature.count, temperature.first_raw, temperature.low) == (1, "22", 22.0)


PLAIN = "Time (s),Drive (mV),Counter (MHz)\n" + "".join(
    f"{k / 2},{1000 + k},{46.1 + 0.1 * k:.4f}\n" for k in range(500)
)


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace(",", ";"),
        PLAIN.replace("100.5,1201,", "100.5,---,"),
        PLAIN.replace("100.5,1201,", "100.5,,"),
        PLAIN.replace("100.5,1201,", "100.5,1.3 V,"),
        PLAIN.replace("100.5,1201,", "100.5,9.91E37,"),
        PLAIN.replace("100.5,1201,", "# lid opened\n100.5,1201,"),
        PLAIN + "Mean,1200,55\n",
        PLAIN[:-1],
        PLAIN.replace("\n", "\n\n"),
    ],
)
def test_plain_numbers_read_at_once_are_those_of_the_ordinary_way(log, monkeypatch, text):
    path = log(text)
    ordinary = read_table(path)
    monkeypatch.setattr(plain_rows, "_LEAST_BYTES", 0)
    at_once = read_table(path)
    assert at_once.table.equals(ordinary.table)
    first, other = (replace(r.receipts[0], separator="") for r in (at_once, ordinary))
    assert first == other


@pytest.mark.parametrize("row", ["100.5,1201", "100.5,1201,66.2,3", "100.5,1201,66.2.1"])
def test_a_row_that_is_wrong_is_refused_in_a_long_log_too(log, monkeypatch, row):
    monkeypatch.setattr(plain_rows, "_LEAST_BYTES", 0)
    with pytest.raises(ReadingError, match=r"log.csv:203"):
        read_table(log(PLAIN.replace("100.5,1201,66.2000", row)))


def test_a_unit_among_counts_names_its_line(log):
    text = "Scale: 2 mV/count\nDrive (counts),Counter (MHz)\n1012,46.25\n1013 mV,46.26\n"
    with pytest.raises(ReadingError, match=r"log.csv:4, .*a unit in a column of counts.*skip_lines = \{ 4 = "):
        read_counter(log(text))


@pytest.mark.parametrize("said", ["Scale: 2 mV/count", "LSB: 2 mV", "Volts per count: 0.002"])
def test_a_scale_alone(log, said):
    readings = read_counter(log(f"{said}\nDrive (counts),Counter (MHz)\n1012,46.25\n1013,46.26\n"))
    assert readings.table["drive_v"].tolist() == pytest.approx([2.024, 2.026])
