"""Logs of optical power, and efficiency."""

import math

import pytest
from uncertainties import ufloat

from aotf_lab.errors import ReadingError
from aotf_lab.reading import Instruments, PowerMeter, Scope, read_power_log
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED


def test_efficiency_and_its_u_against_uncertainties(log):
    bench = Instruments(power_meter=PowerMeter(u_reading_percent=1.0, floor_uw=2.0))
    table = read_power_log(log("Optical power (uW),Incident (uW),Dark (uW)\n205,402,3\n"), bench).table
    optical, incident, dark = (ufloat(v, math.hypot(0.01 * v, 2.0)) for v in (205.0, 402.0, 3.0))
    expected = (optical - dark) / (incident - dark)
    assert table["efficiency"].tolist() == pytest.approx([expected.n], rel=1e-12)
    assert table["u_efficiency"].tolist() == pytest.approx([expected.s], rel=1e-9)


def test_power_log_with_everything_beside_it(log):
    head = "Frequency (MHz),Direction,Time (s),Level (Vrms),Optical power (mW),Incident (mW)"
    readings = read_power_log(
        log(f"{head}\n74.9,-1,3,5,0.2,0.4\n"), Instruments(scope=Scope(bandwidth_mhz=1e9), harmonics=())
    )
    row = readings.table.iloc[0]
    assert (row["direction"], row["time_s"], row["efficiency"]) == ("down", 3.0, 0.5)
    assert row["rf_power_w"] == pytest.approx(0.5)
    assert {e.column for e in readings.common} == {
        "optical_power_mw",
        "incident_power_mw",
        "frequency_mhz",
        "rf_power_w",
    }
    assert "no dark reading" in str(readings.receipts[0])


def test_a_level_behind_an_unstated_pad_leaves_the_power_unknown(log):
    path = log("Level (Vrms),Optical power (mW)\n5,0.2\n")
    (error,) = (e for e in read_power_log(path).common_errors("rf_power_w") if e.name == POWER_SCALE_UNSTATED)
    assert (error.kind, error.applied_to(0.5).s) == ("relative", 0.5)


def test_unstated_power_meter_leaves_the_scatter_to_the_fit(log):
    table = read_power_log(log("frequency_mhz,optical_power_mw\n74.9,0.2\n")).table
    assert table["u_optical_power_mw"].isna().all()
    half = read_power_log(
        log("frequency_mhz,optical_power_mw\n74.9,0.2\n75,0\n"), Instruments(power_meter=PowerMeter(1.0))
    ).table
    assert half["u_optical_power_mw"].tolist() == pytest.approx([math.hypot(0.002, 0.0006), 0.0006])


def test_efficiency_above_one_names_the_row_and_the_cause(log):
    message = r"log.csv:3: efficiency above 1; likely cause: optical and incident.*found 1.25; allowed"
    with pytest.raises(ReadingError, match=message):
        read_power_log(log("Optical power (mW),Incident (mW)\n0.2,0.4\n0.5,0.4\n"))


def test_per_cent_without_its_unit(log):
    message = r"log.csv:2: efficiency above 1; likely cause: per cent without.*found 88; allowed"
    with pytest.raises(ReadingError, match=message):
        read_power_log(log("RF power (W),Efficiency\n0.5,88\n"))


def test_stated_efficiency(log):
    table = read_power_log(log("RF power (W),Efficiency (%)\n0.5,88\n")).table
    assert table["efficiency"].tolist() == pytest.approx([0.88])
    assert table["u_efficiency"].isna().all()


def test_efficiency_a_little_above_one_may_be_scatter(log):
    bench = Instruments(power_meter=PowerMeter(u_reading_percent=1.0, floor_uw=1.0))
    table = read_power_log(log("Optical power (mW),Incident (mW)\n0.402,0.400\n"), bench).table
    assert table["efficiency"].tolist() == pytest.approx([1.005])


def test_incident_light_below_dark(log):
    with pytest.raises(
        ReadingError, match=r"log.csv:2: incident light not above the dark reading; found -0.1 mW; allowed"
    ):
        read_power_log(log("Optical power (mW),Incident (mW),Dark (mW)\n0.2,0.4,0.5\n"))


def test_efficiency_stated_twice(log):
    message = r"efficiency stated, and also incident power from which it follows; found efficiency, incident_power_mw; "
    with pytest.raises(ReadingError, match=message):
        read_power_log(log("Optical power (mW),Incident (mW),Efficiency\n0.2,0.4,0.5\n"))


def test_all_light_of_a_meter_that_shows_dbm(log):
    """0 dBm is 1 mW by definition; -3.0103 dBm is half of it, -60 dBm a nanowatt."""
    path = log("Counter (MHz),Diffracted (dBm),Incident (dBm),Dark (dBm)\n64.0,-3.0103,0,-60\n64.1,-10,0,-60\n")
    table = read_power_log(path).table
    assert table["dark_power_mw"].to_list() == pytest.approx([1e-6, 1e-6], rel=1e-12)
    assert table["incident_power_mw"].to_list() == [1.0, 1.0]
    assert table["efficiency"].to_list() == pytest.approx([0.5, 0.1], rel=2e-5)
    assert table["optical_power_dbm"].to_list() == [-3.0103, -10.0]


def test_power_log_without_power(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: no column that means optical_power_mw; found 'frequency_mhz'"):
        read_power_log(log("frequency_mhz\n74.9\n"))


def test_a_scan_logged_against_the_drive(log):
    readings = read_power_log(log("Drive (V),Optical power (mW)\n5.1,0.2\n"))
    assert readings.table["u_drive_v"].tolist() == [0.005]
    assert {e.name for e in readings.common_errors("drive_v")} == {"voltmeter gain", "voltmeter offset"}
