"""What session.toml says of a file decides how it is read. Invented readings: these are tests of behaviour."""

from dataclasses import replace
from pathlib import Path

import pytest

from aotf_lab.errors import ReadingError, ReadingsError, SessionError
from aotf_lab.reading import Instruments, read_raw_file
from aotf_lab.reading.layout import Layout, StatedColumn
from aotf_lab.reading.session_beside import SecondLog
from aotf_lab.reading.session_file import RawFile


def raw(path: Path, purpose: str = "scan", line: str | None = None) -> RawFile:
    return RawFile(path, purpose, line, None, {})


def test_the_column_of_its_line_is_read(log):
    path = log("Frequency (MHz),B (uW),D (uW)\n64,100,200\n65,110,210\n")
    table = read_raw_file(raw(path, line="D"), Instruments()).table
    assert table["optical_power_mw"].tolist() == [0.2, 0.21]
    assert set(table["label"]) == {"D"}


def test_a_line_without_a_column(log):
    path = log("Frequency (MHz),B (uW),D (uW)\n64,100,200\n65,110,210\n")
    with pytest.raises(ReadingError, match=r"log.csv:1: no column that means optical_power_mw"):
        read_raw_file(raw(path, line="G"), Instruments())


def test_a_scan_takes_the_only_frequency(log):
    table = read_raw_file(raw(log("CH1 (MHz),CH2 (uW)\n64,100\n65,110\n")), Instruments()).table
    assert table[["frequency_mhz", "optical_power_mw"]].to_numpy().tolist() == [[64.0, 0.1], [65.0, 0.11]]


def test_a_layout_of_the_file(log):
    layout = Layout(columns={"frequency_mhz": StatedColumn(("Read",), "kHz")})
    file = replace(raw(log("Read,Diffracted (uW)\n64000,100\n65000,110\n")), layout=layout)
    assert read_raw_file(file, Instruments()).table["frequency_mhz"].tolist() == [64.0, 65.0]


def test_two_logs_of_one_run(log):
    power = log("Time (s),Diffracted (uW)\n0,100\n1,110\n2,120\n", name="power.csv")
    counter = log("Time (s),Counter (MHz)\n10.1,64\n11.1,65\n12.1,66\n", name="counter.csv")
    file = replace(raw(power), second=SecondLog(counter, 0.2, -10.0))
    table = read_raw_file(file, Instruments()).table
    assert table[["optical_power_mw", "frequency_mhz"]].to_numpy().tolist() == [[0.1, 64.0], [0.11, 65.0], [0.12, 66.0]]
    with pytest.raises(ReadingsError, match=r"a tolerance in time at which the wrong row could be taken"):
        read_raw_file(replace(file, second=SecondLog(counter, 2.0, -10.0)), Instruments())


def test_an_oscillator_in_two_logs(log):
    drive = log("Time (s),Drive (V)\n0,1\n1,2\n2,3\n", name="drive.csv")
    counter = log("Time (s),Counter (MHz)\n0,46\n1,51\n2,55\n", name="counter.csv")
    file = replace(raw(drive, "oscillator"), second=SecondLog(counter, 0.2, 0.0))
    table = read_raw_file(file, Instruments()).table
    assert table[["drive_v", "frequency_mhz"]].to_numpy().tolist() == [[1.0, 46.0], [2.0, 51.0], [3.0, 55.0]]
    assert table["u_drive_v"].notna().all()


def test_a_long_log_is_reduced_to_blocks(log):
    rows = "".join(f"{k},{100 + k % 2},64\n" for k in range(100))
    file = replace(raw(log(f"Time (s),Diffracted (uW),Counter (MHz)\n{rows}")), block_s=10.0)
    table = read_raw_file(file, Instruments()).table
    assert table["optical_power_mw"].tolist() == pytest.approx([0.1005] * 10)


def test_one_direction_for_a_file_that_goes_both_ways(log):
    rows = "".join(f"{v},{40 + 5 * v}\n" for v in (1, 2, 3, 4, 3, 2, 1))
    file = replace(raw(log(f"Drive (V),Counter (MHz)\n{rows}"), "oscillator"), direction="up")
    with pytest.raises(SessionError, match=r"log.csv:6: session.toml says up and a row says otherwise; found 'down'"):
        read_raw_file(file, Instruments())
