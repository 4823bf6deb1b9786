"""Instruments: bounds, defaults, shared causes; files read as session.toml says."""

from dataclasses import replace

import pytest

from aotf_lab.errors import ReadingError, ReadingsError, SessionError
from aotf_lab.reading import (
    Counter,
    Instruments,
    PowerMeter,
    Readings,
    Scope,
    Voltmeter,
    as_readings,
    join_readings,
    read_counter,
    read_raw_file,
)
from aotf_lab.reading.instruments import POWER_SCALE_UNSTATED, Detector, Rotator, Ruler, Stage
from aotf_lab.reading.session_file import RawFile


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Counter(time_base_ppm=-1), r"Counter time_base_ppm; found -1; allowed: a number of 0 or more"),
        (lambda: Counter(u_reading_khz=0), r"Counter u_reading_khz; found 0; allowed: a number above 0"),
        (lambda: Voltmeter(gain_percent=float("nan")), r"Voltmeter gain_percent; found nan"),
        (lambda: Scope(probe=0), r"Scope probe; found 0; allowed: a number above 0"),
        (lambda: Scope(load_ohm=-50), r"Scope load_ohm; found -50"),
        (lambda: PowerMeter(floor_uw=0), r"PowerMeter floor_uw; found 0"),
    ],
)
def test_impossible_accuracies(make, message):
    with pytest.raises(SessionError, match=message):
        make()


def test_each_unset_field_is_spoken_of_once():
    # without a pad its uncertainty does not count; without a scatter neither does the floor
    assert len(Instruments().assumed) == 2 + 3 + 9 + 3 + 2 + 2 + 2 + 1
    assert any("u of the pad" in words for words in Scope(pad_db=30.0).assumed)
    assert any("floor" in words for words in PowerMeter(u_reading_percent=1.0).assumed)


def test_nothing_is_assumed_when_all_is_stated():
    full = Instruments(
        Counter(3, 5),
        Voltmeter(0.1, 1, 2),
        Scope(
            1.5,
            1,
            30,
            0.1,
            50,
            0.5,
            200,
            1,
            50,
            u_bandwidth_percent=5,
            load_return_loss_db=25,
            source_return_loss_db=15,
        ),
        PowerMeter(0.5, 1, 0.9, 3),
        Ruler(0.3, 2),
        Rotator(0.2, 1),
        Stage(5, 0.1),
        Detector(0.2),
    )
    assert full.assumed == ()


def test_causes_are_made_once_for_each_bench():
    one, other = Instruments(), Instruments()
    assert one.causes["pad"] is None
    assert (one.causes["scope gain"] - one.causes["scope gain"]).s == 0.0
    assert (one.causes["scope gain"] - other.causes["scope gain"]).s > 0.03
    assert one.causes["load"].tag == "load"


def test_harmonics_of_a_trace_keep_the_other_causes():
    bench = Instruments()
    other = bench.with_harmonics(())
    assert other.causes["scope gain"] is bench.causes["scope gain"]
    assert other.causes["harmonics (rms)"] is None
    assert bench.causes["harmonics (rms)"] is not None


def test_unset_widens_and_never_narrows():
    stated = Instruments(Counter(3), Voltmeter(0.1, 1), Scope(1.5, 1, 30, 0.1, 50, 0.5), PowerMeter(gain_percent=3))
    unset = Instruments(scope=Scope(pad_db=30.0))
    assert all(unset.causes[name].s >= cause.s for name, cause in stated.causes.items() if cause is not None)


@pytest.mark.parametrize(
    ("scope", "word"), [(Scope(), "pad"), (Scope(probe=1.0), "pad"), (Scope(pad_db=0.0), "probe factor")]
)
def test_a_power_scale_that_is_not_stated_is_wholly_unknown(scope, word):
    bench = Instruments(scope=scope)
    assert not bench.power_scale_stated
    assert bench.causes[POWER_SCALE_UNSTATED].s == 1.0
    said = [words for words in bench.assumed if words.startswith(f"{word} not stated")]
    assert len(said) == 1
    assert "RF power may be wrong by any factor: state p" in said[0]
    assert "when there is none" in said[0]


def test_no_pad_and_no_probe_may_be_stated():
    bench = Instruments(scope=Scope(pad_db=0.0, probe=1.0))
    assert bench.power_scale_stated
    assert bench.causes[POWER_SCALE_UNSTATED] is None
    assert not any("any factor" in words for words in bench.assumed)


@pytest.fixture
def raw(tmp_path):
    def write(body, purpose="oscillator", direction=None):
        path = tmp_path / "vco.csv"
        path.write_text(body, encoding="utf-8")
        return RawFile(path, purpose, None, direction, {})

    return write


def test_a_direction_in_session_toml_becomes_a_column(raw):
    assert (
        read_raw_file(raw("drive_v,frequency_mhz\n1,46\n", direction="down"), Instruments()).table["direction"][0]
        == "down"
    )
    file = raw("drive_v,frequency_mhz,direction\n1,46,\n2,51,up\n", direction="up")
    assert read_raw_file(file, Instruments()).table["direction"].tolist() == ["up", "up"]


def test_a_direction_that_contradicts_session_toml(raw):
    file = raw("drive_v,frequency_mhz,direction\n1,46,up\n2,51,down\n", direction="up")
    with pytest.raises(SessionError, match=r"vco.csv:3: session.toml says up and a row says otherwise; found 'down'"):
        read_raw_file(file, Instruments())


def test_a_table_of_lines_is_checked_against_the_crystal_of_its_session(raw):
    file = raw("wavelength_vacuum_nm,frequency_mhz\n5000,46\n", purpose="lines")
    with pytest.raises(ReadingError, match=r"vco.csv:2: wavelength_nm far outside 400 to 1000 nm of TeO2"):
        read_raw_file(file, Instruments())
    table = read_raw_file(replace(file, material="LiNbO3 congruent"), Instruments()).table
    assert table["wavelength_nm"].tolist() == [5000.0]


def test_a_file_that_is_only_kept(raw):
    message = r"vco.csv: a file that is kept but not read; found 'keep'; allowed: oscillator"
    with pytest.raises(SessionError, match=message):
        read_raw_file(raw("anything", purpose="keep"), Instruments())


def test_readings_name_their_rows_and_their_columns(raw):
    readings = read_counter(raw("drive_v,frequency_mhz\n1,46\n").path)
    assert readings.place(0) == "vco.csv:2"
    assert as_readings(readings) is readings
    assert as_readings(readings.table[["drive_v"]]).place(0) == "row 1"


def test_readings_without_a_needed_column(raw):
    readings = read_counter(raw("drive_v,frequency_mhz\n1,46\n").path)
    message = r"vco.csv: no column 'rf_power_w' in these readings; found drive_v, frequency_mhz"
    with pytest.raises(ReadingsError, match=message):
        readings.require("drive_v", "rf_power_w")


def test_readings_without_rows(raw):
    readings = read_counter(raw("drive_v,frequency_mhz\n1,46\n").path)
    with pytest.raises(ReadingsError, match=r"no readings at all; found 0; allowed: at least one row"):
        Readings(readings.table.iloc[:0]).require("drive_v")


def test_nothing_to_join():
    with pytest.raises(ReadingsError, match=r"nothing to join; found 0; allowed: one table or more"):
        join_readings([])
