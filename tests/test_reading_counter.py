"""Logs of drive voltage and counted frequency."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import Counter, Instruments, Voltmeter, join_readings, read_counter


def test_counter_log_has_values_and_errors(log):
    bench = Instruments(Counter(2.0, 5.0), Voltmeter(0.1, 1.0, 2.0))
    path = log("Drive (V),Counter (kHz),Direction,Time (min),Box temperature (°C),Supply (V)\n1.5,48250,up,2,22.5,12\n")
    readings = read_counter(path, bench)
    row = readings.table.iloc[0]
    assert (row["drive_v"], row["frequency_mhz"], row["direction"]) == (1.5, 48.25, "up")
    assert (row["time_s"], row["temperature_c"], row["supply_v"]) == (120.0, 22.5, 12.0)
    assert (row["u_drive_v"], row["u_frequency_mhz"]) == pytest.approx((0.002, 0.005))
    sizes = {(e.name, e.column, e.kind): e.variable.s for e in readings.common}
    assert sizes == pytest.approx(
        {
            ("voltmeter gain", "drive_v", "relative"): 1e-3,
            ("voltmeter offset", "drive_v", "offset"): 1e-3,
            ("counter time base", "frequency_mhz", "relative"): 2e-6,
        }
    )
    assert not any("not stated" in note for note in readings.receipts[0].notes)


def test_unstated_scatter_is_unknown_or_wide_and_said(log):
    readings = read_counter(log("drive_v,frequency_mhz\n1.5,48.25\n"))
    assert readings.table["u_drive_v"].tolist() == [0.005]
    assert readings.table["u_frequency_mhz"].isna().all()
    assert "counter scatter not stated: taken from the scatter" in str(readings.receipts[0])


def test_a_u_in_the_file_goes_before_that_of_the_instrument(log):
    path = log("Drive (V),u (mV),Frequency (MHz),u (kHz)\n1.5,3,48.25,4\n2.5,,53,\n")
    table = read_counter(path, Instruments(Counter(u_reading_khz=9.0), Voltmeter(u_reading_mv=2.0))).table
    assert table["u_drive_v"].tolist() == pytest.approx([0.003, 0.002])
    assert table["u_frequency_mhz"].tolist() == pytest.approx([0.004, 0.009])


@pytest.mark.parametrize(
    ("header", "missing"),
    [("Drive (V),Mood", "frequency_mhz"), ("Mood,frequency_mhz", "drive_v"), ("Volts,Counter (MHz)", "drive_v")],
)
def test_counter_log_without_a_column(log, header, missing):
    message = rf"log.csv:1: no column that means {missing}; found '{header[:5]}.*columns = \{{ {missing} = "
    with pytest.raises(ReadingError, match=message):
        read_counter(log(f"{header}\n1,46\n"))


def test_the_only_voltage_beside_a_counter_is_the_drive(log):
    readings = read_counter(log("Voltage (V),Counter (MHz)\n1,46\n"))
    assert readings.table["drive_v"].tolist() == [1.0]
    assert "the only column in volts" in str(readings.receipts[0])


def test_counter_log_mapped_by_hand(log):
    table = read_counter(
        log("Voltage (mV),f\n1500,48.25\n"), None, {"drive_v": "Voltage (mV)", "frequency_mhz": "f"}
    ).table
    assert table[["drive_v", "frequency_mhz"]].to_numpy().tolist() == [[1.5, 48.25]]


def test_two_files_share_their_meters(log):
    bench = Instruments()
    paths = [log("drive_v,frequency_mhz\n1,46\n", name) for name in ("a.csv", "b.csv")]
    joined = join_readings(read_counter(p, bench) for p in paths)
    assert sorted(e.name for e in joined.common) == ["counter time base", "voltmeter gain", "voltmeter offset"]
    without = join_readings(read_counter(p) for p in paths)
    assert len(without.common) == 3
    time_base = joined.common_errors("frequency_mhz")[0]
    difference = time_base.applied_to(60.0) - time_base.applied_to(60.0)
    assert difference.s == 0.0


def test_an_error_stated_as_zero_is_none(log):
    bench = Instruments(Counter(time_base_ppm=0), Voltmeter(gain_percent=0, offset_mv=0))
    assert read_counter(log("drive_v,frequency_mhz\n1,46\n"), bench).common == ()
