"""Traces of switched light and tables of modulation depth, as files leave them."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.edge import read_edge
from aotf_lab.reading.modulation import read_modulation
from aotf_lab.reading.session_file import load_session_file
from aotf_lab.reading.template import write_template


def test_two_channels(log):
    table = read_edge(log("Time (us),Oscillator port (V),Light detector (mV)\n-1,4.9,12\n0,5.2,12\n10,5.2,160\n")).table
    assert table["time_s"].tolist() == pytest.approx([-1e-6, 0.0, 1e-5])
    assert table["drive_v"].tolist() == [4.9, 5.2, 5.2]
    assert table["signal_v"].tolist() == pytest.approx([0.012, 0.012, 0.16])


def test_one_channel_with_a_sample_interval(log):
    table = read_edge(log("Sample interval,50 ns\nPhotodiode (V)\n0.1\n0.2\n0.3\n")).table
    assert table["time_s"].tolist() == pytest.approx([0.0, 5e-8, 1e-7])
    assert "drive_v" not in table.columns


def test_a_detector_that_shows_watts_is_no_voltage(log):
    with pytest.raises(ReadingError, match="no column that means signal_v"):
        read_edge(log("Time (us),Detector (uW)\n0,1\n1,2\n"))


def test_depth_as_it_stands(log):
    table = read_modulation(log("Modulation frequency (kHz),Depth\n10,0.5\n100,0.4\n")).table
    assert table["modulation_khz"].tolist() == [10.0, 100.0]
    assert table["depth"].tolist() == [0.5, 0.4]


def test_depth_in_percent_of_a_frequency_in_megahertz(log):
    table = read_modulation(log("Modulation (MHz),Modulation depth (%)\n0.01,50\n0.1,40\n")).table
    assert table["modulation_khz"].tolist() == pytest.approx([10.0, 100.0])
    assert table["depth"].tolist() == pytest.approx([0.5, 0.4])


def test_depth_of_most_and_least(log):
    table = read_modulation(log("Modulation (kHz),Most (mV),Least (mV)\n10,300,100\n100,250,150\n")).table
    assert table["depth"].tolist() == pytest.approx([0.5, 0.25])


def test_u_of_most_and_least_give_that_of_the_depth(log):
    table = read_modulation(
        log("Modulation (kHz),Most (mV),u (mV),Least (mV),u (mV)\n10,300,3,100,1\n99,250,3,150,1\n")
    )
    a, b = 300.0, 100.0
    away = [((a + da - b - db) / (a + da + b + db) - 0.5) for da, db in ((3.0, 0.0), (0.0, 1.0))]
    assert table.table["u_depth"].tolist()[0] == pytest.approx(np.hypot(*away), rel=0.02)


def test_no_depth(log):
    with pytest.raises(ReadingError, match="modulation without a depth"):
        read_modulation(log("Modulation (kHz),Most (mV)\n10,300\n100,250\n"))


def test_least_above_most(log):
    with pytest.raises(ReadingError, match=r"least light above the most; found 0\.2 V"):
        read_modulation(log("Modulation (kHz),Most (mV),Least (mV)\n10,300,100\n100,150,200\n"))


def test_a_frequency_of_nothing(log):
    with pytest.raises(ReadingError, match="modulation frequency; found 0 kHz"):
        read_modulation(log("Modulation (kHz),Depth\n0,0.5\n100,0.4\n"))


def test_light_of_nothing(log):
    with pytest.raises(ReadingError, match=r"most and least light together; found -0\.02 V"):
        read_modulation(log("Modulation (kHz),Most (mV),Least (mV)\n10,-5,-15\n"))


def test_session_toml_names_them(tmp_path):
    write_template(tmp_path / "new")
    files = {f.purpose: f.path.name for f in load_session_file(tmp_path / "new").files}
    assert files["edge"] == "edge.csv"
    assert files["modulation_depth"] == "modulation_depth.csv"
