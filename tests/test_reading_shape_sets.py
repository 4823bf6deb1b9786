"""Columns that come in sets: repeats, lines, blocks, pairs. Common practice, no source, where none is named."""

import math

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_counter, read_lines, read_power_log, read_scope_levels, read_table


def rows(readings, *columns):
    return [tuple(r) for r in readings.table[list(columns)].itertuples(index=False)]


@pytest.mark.parametrize(
    "headings",
    ["f1 (MHz),f2 (MHz)", "run 1 (MHz),run 2 (MHz)", "#1 (MHz),#2 (MHz)", "Frequency (MHz),Frequency 2 (MHz)",
     "Frequency (MHz),Frequency.1 (MHz)", "Counter reading 1 (MHz),Counter reading 2 (MHz)"],
)  # fmt: skip
def test_repeats_side_by_side_become_rows(log, headings):
    readings = read_counter(log(f"Drive (V),{headings}\n1,46.25,46.5\n2,51.25,51.5\n"))
    assert rows(readings, "drive_v", "frequency_mhz", "repeat", "line") == [
        (1.0, 46.25, 1, 2), (1.0, 46.5, 2, 2), (2.0, 51.25, 1, 3), (2.0, 51.5, 2, 3),
    ]  # fmt: skip


def test_repeats_told_by_a_list(log):
    columns = {"frequency_mhz": ["A", "B"], "drive_v": "Set"}
    readings = read_counter(log("Set,A,B\n1,46.25,46.5\n"), columns=columns)
    assert rows(readings, "frequency_mhz", "repeat") == [(46.25, 1), (46.5, 2)]


def test_two_channels_are_no_repeats(log):
    with pytest.raises(ReadingError, match=r"no column that means frequency_mhz; 'CH1 \(MHz\)', 'CH2 \(MHz\)'"):
        read_counter(log("Drive (V),CH1 (MHz),CH2 (MHz)\n1,46,47\n"))


def test_a_damaged_heading_beside_its_like_is_not_passed_over(log):
    message = r"a heading that is not understood, and looks like 'Counter 2 \(MHz\)'.*found 'Counter 1 3\(MHz\)'"
    with pytest.raises(ReadingError, match=message):
        read_counter(log("Drive (V),Counter 1 3(MHz),Counter 2 (MHz)\n1,46,47\n"))


def test_two_thermometers_are_no_repeats(log):
    readings = read_table(log("Drive (V),T1 (degC),T2 (degC)\n1,22,23\n"))
    assert "repeat" not in readings.table.columns
    assert "temperature_c" not in readings.table.columns


def test_a_gap_in_one_repeat_rejects_that_reading_only(log):
    readings = read_counter(log("Drive (V),f1 (MHz),f2 (MHz)\n1,46.25,---\n2,,51.5\n---,55,55.5\n"))
    assert rows(readings, "drive_v", "frequency_mhz", "line") == [(1.0, 46.25, 2), (2.0, 51.5, 3)]
    rejected = readings.receipts[0].rejected
    assert [r.line for r in rejected] == [2, 3, 4]
    assert rejected[2].reason == "over-range mark '---' in column 'Drive (V)'"


def test_a_column_for_each_line_that_was_told(log):
    path = log("Frequency (MHz),B (uW),D (uW)\n64,100,200\n65,110,210\n")
    readings = read_power_log(path, label=("B", "D"))
    assert rows(readings, "label", "frequency_mhz", "optical_power_mw") == [
        ("B", 64.0, 0.1), ("B", 65.0, 0.11), ("D", 64.0, 0.2), ("D", 65.0, 0.21),
    ]  # fmt: skip
    assert rows(read_power_log(path, label="D"), "label", "optical_power_mw") == [("D", 0.2), ("D", 0.21)]


def test_a_column_for_each_line_that_was_not_told(log):
    with pytest.raises(ReadingError, match=r"no column that means optical_power_mw; 'B \(uW\)', 'D \(uW\)' are of its"):
        read_power_log(log("Frequency (MHz),B (uW),D (uW)\n64,100,200\n"))


def test_a_line_that_has_no_column(log):
    with pytest.raises(ReadingError, match=r"a column for each line, and none for G; found 'Diffracted B"):
        read_power_log(log("Frequency (MHz),Diffracted B (uW),Diffracted D (uW)\n64,100,200\n"), label="G")
    with pytest.raises(ReadingError, match=r"no column that means optical_power_mw"):
        read_power_log(log("Frequency (MHz),D (uW)\n64,200\n"), label="G")


def test_a_word_of_one_letter_is_not_taken_for_a_line(log):
    readings = read_power_log(log("Frequency (MHz),P (uW)\n64,100\n"), label="B")
    assert readings.table["optical_power_mw"].tolist() == [0.1]


def test_blocks_with_titles(log):
    text = "up,,,down,\nDrive (V),f (MHz),,Drive (V),f (MHz)\n1,46.25,,2,51.5\n2,51.25,,1,46.5\n3,55,,,\n"
    readings = read_counter(log(text))
    assert rows(readings, "direction", "drive_v", "frequency_mhz", "line") == [
        ("up", 1.0, 46.25, 3), ("up", 2.0, 51.25, 4), ("up", 3.0, 55.0, 5),
        ("down", 2.0, 51.5, 3), ("down", 1.0, 46.5, 4),
    ]  # fmt: skip
    assert readings.receipts[0].rejected == ()


def test_up_and_down_in_two_columns(log):
    readings = read_counter(log("Drive (V),Frequency up (MHz),Frequency down (MHz)\n1,46.25,46.5\n2,51.25,51.5\n"))
    assert rows(readings, "direction", "drive_v", "frequency_mhz") == [
        ("up", 1.0, 46.25), ("up", 2.0, 51.25), ("down", 1.0, 46.5), ("down", 2.0, 51.5),
    ]  # fmt: skip


def test_a_block_with_a_column_that_is_not_understood(log):
    text = "up,,,down,\nDrive (V),f (MHz),,Mood (V),f (MHz)\n1,46,,2,51\n2,51,,1,46\n"
    with pytest.raises(ReadingError, match=r"columns side by side that are no equal sets: no drive_v beside these"):
        read_counter(log(text))


def test_two_columns_of_one_meaning_in_a_layout(log):
    message = r"2 columns claim the meaning frequency_mhz; found 'Counter \(MHz\)', 'Counter \(MHz\)'.*\"column 2\""
    with pytest.raises(ReadingError, match=message):
        read_counter(log("Drive (V),Counter (MHz),Counter (MHz)\n1,46,46\n"))


def test_a_pair_of_least_and_greatest(log):
    # JCGM 100:2008 (GUM), 4.3.7: limits a- and a+ alone mean the middle, with u = a / sqrt(3), a half their distance
    readings = read_counter(log("Drive (V),fmin (kHz),fmax (kHz)\n1,45997,46003\n2,51000,51000\n"))
    assert readings.table["frequency_mhz"].tolist() == pytest.approx([46.0, 51.0])
    assert readings.table["u_frequency_mhz"].tolist()[0] == pytest.approx(0.003 / math.sqrt(3.0))
    assert math.isnan(readings.table["u_frequency_mhz"].tolist()[1])


def test_a_pair_adds_to_the_u_that_stands_in_the_file(log):
    text = "Drive (V),Frequency min (MHz),Frequency max (MHz),u(Frequency) (MHz)\n1,45.97,46.03,0.01\n"
    u = read_counter(log(text)).table["u_frequency_mhz"].tolist()
    assert u == pytest.approx([math.hypot(0.03 / math.sqrt(3.0), 0.01)])


def test_a_mean_goes_before_its_limits(log):
    readings = read_counter(log("Drive (V),f min (MHz),f mean (MHz),f max (MHz)\n1,45.9,46.05,46.1\n"))
    assert readings.table["frequency_mhz"].tolist() == [46.05]
    assert readings.table["u_frequency_mhz"].isna().all()
    assert "not used: 'f mean (MHz)' stands beside it" in str(readings.receipts[0])


def test_half_a_pair_is_no_reading(log):
    with pytest.raises(ReadingError, match=r"no column that means frequency_mhz"):
        read_counter(log("Drive (V),Frequency max (MHz)\n1,46\n"))


def test_the_ends_of_a_wave_mean_its_peak_to_peak_value(log):
    # a sine of 2 V peak to peak has 2 / sqrt(8) V rms
    readings = read_scope_levels(log("Vmin (V),Vmax (V)\n-1.0,1.0\n"))
    assert readings.table["rf_level_vrms"].tolist() == pytest.approx([2.0 / math.sqrt(8.0)])


def test_a_table_of_lines_is_no_sweep(log):
    text = "Label,Wavelength in vacuum (nm),Frequency (MHz)\n" + "".join(
        f"{n},{w},{f}\n" for n, w, f in zip("ABCDEFG", (450, 480, 520, 560, 520.5, 480.5, 450.5),
                                            (93, 86, 76, 69, 76.1, 86.1, 93.1), strict=True)
    )  # fmt: skip
    assert "direction" not in read_lines(log(text)).table.columns
