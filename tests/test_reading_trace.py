"""Saved traces: a column of time or a stated interval, volts or counts of a converter."""

from __future__ import annotations

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.trace import read_trace


@pytest.fixture
def saved(tmp_path):
    def save(text: str):
        path = tmp_path / "trace.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return save


def test_counts_with_scale_offset_and_interval(saved):
    text = "Scale: 1.5 mV per count\nOffset: 128 counts\nSample interval: 0.5 ns\n\nSignal (counts)\n130\n126\n128\n"
    readings = read_trace(saved(text))
    np.testing.assert_allclose(readings.table["signal_v"], [3e-3, -3e-3, 0])
    np.testing.assert_allclose(readings.table["time_s"], [0, 0.5e-9, 1e-9], rtol=1e-12)
    assert readings.table["line"].tolist() == [6, 7, 8]


def test_a_column_of_time(saved):
    readings = read_trace(saved("Time (ns);Waveform (mV)\n-0,5;12,5\n0,0;-3\n0,5;4\n"))
    np.testing.assert_allclose(readings.table["time_s"], [-0.5e-9, 0, 0.5e-9], atol=1e-18)
    np.testing.assert_allclose(readings.table["signal_v"], [12.5e-3, -3e-3, 4e-3])


def test_the_units_of_both_axes_above_the_headings(saved):
    head = "Source,CH2,,\nVertical Units,mV,,\nVertical Scale,4.0E-02,,\nHorizontal Units,ns,,\n\nTIME,CH2\n"
    readings = read_trace(saved(head + "-1.0E+00,12.5\n0.0E+00,-3.0\n1.0E+00,4.0\n"))
    np.testing.assert_allclose(readings.table["time_s"], [-1e-9, 0, 1e-9], atol=1e-18)
    np.testing.assert_allclose(readings.table["signal_v"], [12.5e-3, -3e-3, 4e-3])


def test_the_only_heading_left_is_offered_for_the_signal(saved):
    with pytest.raises(ReadingError, match=r'columns = \{ signal_v = "CH2" \}'):
        read_trace(saved("Time (s),CH2\n1e-9,0.1\n2e-9,0.2\n"))


def test_time_that_no_word_names(saved):
    readings = read_trace(saved("x (us),Trace (V)\n0,0.1\n0.001,0.2\n0.002,0.3\n"))
    np.testing.assert_allclose(readings.table["time_s"], [0, 1e-9, 2e-9], atol=1e-18)


def test_equal_stamps_are_read(saved):
    readings = read_trace(saved("Time (s),Signal (V)\n1e-9,0.1\n1e-9,0.2\n2e-9,0.3\n"))
    assert len(readings.table) == 3


def test_rows_without_a_reading_are_rejected(saved):
    readings = read_trace(saved("Time (ns),Signal (V)\n0,0.1\n1,OVER\n2,0.3\n,0.4\n4,0.5\n"))
    assert readings.table["line"].tolist() == [2, 4, 6]
    assert len(readings.receipts[0].rejected) == 2


def test_a_missing_row_keeps_its_place_in_time(saved):
    readings = read_trace(saved("Sample interval: 2 ns\n\nSignal (V)\n0.1\nOVER\n0.3\n0.4\n"))
    np.testing.assert_allclose(readings.table["time_s"], [0, 4e-9, 6e-9], atol=1e-18)


def test_no_time_at_all(saved):
    with pytest.raises(
        ReadingError, match=r"trace\.csv:1: a trace without time; found 'Signal \(V\)'; allowed: .*interval"
    ):
        read_trace(saved("Signal (V)\n0.1\n0.2\n0.3\n"))


def test_an_interval_stated_in_a_layout(saved):
    readings = read_trace(saved("Signal (V)\n0.1\n0.2\n0.3\n"), layout=Layout(settings={"sample interval": "0.5 ns"}))
    np.testing.assert_allclose(readings.table["time_s"], [0, 0.5e-9, 1e-9], atol=1e-18)


def test_no_signal(saved):
    with pytest.raises(ReadingError, match=r"trace\.csv:1: no column that means signal_v; .*map it in session\.toml"):
        read_trace(saved("Time (s),Gain\n0,0.1\n1e-9,0.2\n"))


def test_mapped_columns(saved):
    readings = read_trace(
        saved("a (ns),b (mV),c (V)\n0,1,2\n1,3,4\n"), columns={"time_s": "a (ns)", "signal_v": "b (mV)"}
    )
    np.testing.assert_allclose(readings.table["signal_v"], [1e-3, 3e-3])
