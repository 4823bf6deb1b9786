"""What headings mean. The spellings are common practice, no source."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.headers import understand_headings


def one(header, **columns):
    return understand_headings([header], "log.csv:1", columns or None)[0]


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("drive_v", "drive_v", "V"),
        ("frequency_khz", "frequency_mhz", "kHz"),
        ("u_frequency_mhz", "u_frequency_mhz", "MHz"),
        ("u_frequency_khz", "u_frequency_mhz", "kHz"),
        ("Drive (mV)", "drive_v", "mV"),
        ("Tuning voltage [V]", "drive_v", "V"),
        ("Set voltage / V", "drive_v", "V"),
        ("Counter, kHz", "frequency_mhz", "kHz"),
        ("FREQUENCY (MHz)", "frequency_mhz", "MHz"),
        ("Optical power (\u03bcW)", "optical_power_mw", "uW"),
        ("Power meter (W)", "optical_power_mw", "W"),
        ("Reference (mW)", "incident_power_mw", "mW"),
        ("Dark [nW]", "dark_power_mw", "nW"),
        ("Scope (Vpp)", "rf_level_vrms", "Vpp"),
        ("Level (dBm)", "rf_level_dbm", "dBm"),
        ("RF power (dBm)", "rf_power_w", "dBm"),
        ("Supply_voltage (V)", "supply_v", "V"),
        ("Box temperature (°C)", "temperature_c", "degC"),
        ("Elapsed time (min)", "time_s", "min"),
        ("Wavelength in air (nm)", "wavelength_air_nm", "nm"),
        ("wavelength_vacuum_nm", "wavelength_nm", "nm"),
        ("Wavelength (nm)", "wavelength_stated_nm", "nm"),
        ("Efficiency (%)", "efficiency", "%"),
        ("Efficiency", "efficiency", ""),
        ("u(Frequency) (kHz)", "u_frequency_mhz", "kHz"),
        ("Uncertainty of drive (mV)", "u_drive_v", "mV"),
        ("Frequency uncertainty [kHz]", "u_frequency_mhz", "kHz"),
    ],
)
def test_a_heading_is_understood(header, column, unit):
    heading = one(header)
    assert (heading.column, heading.unit.symbol) == (column, unit)
    assert heading.evidence


@pytest.mark.parametrize(("header", "column"), [("Up/Down", "direction"), ("Line", "label"), ("medium", "medium")])
def test_a_heading_of_words(header, column):
    assert (one(header).column, one(header).unit) == (column, None)


@pytest.mark.parametrize(
    ("header", "why"), [("Mood", "no word for it"), ("", "no heading"), ("Voltage (V)", "two quantities share")]
)
def test_what_is_not_understood_is_not_used(header, why):
    assert one(header).column == ""
    assert why in one(header).evidence


def test_a_bare_u_belongs_to_the_column_on_its_left():
    found = understand_headings(["Wavelength in air (nm)", "u (pm)", "Frequency (MHz)", "u (kHz)"], "lines.csv:1")
    assert [h.column for h in found] == ["wavelength_air_nm", "u_wavelength_air_nm", "frequency_mhz", "u_frequency_mhz"]
    assert "on its left, 'Frequency (MHz)'" in found[3].evidence


@pytest.mark.parametrize("header", ["Drive", "Frequency", "Temperature", "Optical power"])
def test_a_unit_that_decides_the_number_must_stand_there(header):
    message = rf"log.csv:1, column '{header}': heading without a unit.*columns = \{{ \w+ = \"{header}\""
    with pytest.raises(ReadingError, match=message):
        one(header)


def test_an_unknown_unit_behind_a_known_word():
    message = r"column 'Drive \(volt-ish\)': unknown unit; found 'volt-ish'; allowed: V, mV"
    with pytest.raises(ReadingError, match=message):
        one("Drive (volt-ish)")


def test_an_ambiguous_unit_names_its_column():
    with pytest.raises(ReadingError, match=r"column 'Optical power \(mw\)': ambiguous unit: m is milli and M is mega"):
        one("Optical power (mw)")


def test_a_unit_of_another_kind_names_its_column():
    message = r"column 'Drive \(MHz\)': a frequency cannot be drive_v; found 'MHz'; allowed: V, mV, uV"
    with pytest.raises(ReadingError, match=message):
        one("Drive (MHz)")


def test_plain_volts_do_not_say_which_level():
    message = r"a voltage cannot be rf_level_vrms; found 'V'; allowed: Vrms, mVrms, Vpp, mVpp"
    with pytest.raises(ReadingError, match=message):
        one("Level (V)")


def test_two_columns_of_one_meaning():
    message = r"2 columns claim the meaning drive_v; found .*'Drive \(V\)', 'Control \(V\)'"
    with pytest.raises(ReadingError, match=message):
        understand_headings(["Drive (V)", "Control (V)"], "log.csv:1")


def test_the_map_settles_two_columns_of_one_meaning():
    found = understand_headings(["Drive (V)", "Control (mV)"], "log.csv:1", {"drive_v": "Control (mV)"})
    assert [(h.column, h.unit.symbol if h.unit else "") for h in found] == [("", ""), ("drive_v", "mV")]


def test_the_map_names_the_unit_where_the_heading_does_not():
    assert one("Set", drive_v="Set").unit.symbol == "V"
    assert "unit as the name drive_v says" in one("Set", drive_v="Set").evidence


def test_a_level_mapped_by_hand_may_be_in_dbm():
    assert one("CH1 (dBm)", rf_level_vrms="CH1 (dBm)").column == "rf_level_dbm"


def test_the_map_passes_columns_over():
    found = understand_headings(["Time", "Drive (V)", "Temperature"], "a:1", {"not_used": ["Time", "Temperature"]})
    assert [h.column for h in found] == ["", "drive_v", ""]


def test_the_map_names_an_unknown_meaning():
    with pytest.raises(ReadingError, match=r"no column can mean; found 'drive_mv'; allowed: time_s, drive_v"):
        one("Set", drive_mv="Set")


@pytest.mark.parametrize(("headers", "times"), [(["Drive (V)"], 0), (["Set", "Set"], 2)])
def test_the_map_names_a_heading_that_is_not_there_once(headers, times):
    message = rf"maps drive_v to a heading that stands {times} times in the file; found 'Set'"
    with pytest.raises(ReadingError, match=message):
        understand_headings(headers, "log.csv:1", {"drive_v": "Set"})


@pytest.mark.parametrize("header", ["± (kHz)", "Frequency error (kHz)", "+/- (mV)", "Drive tolerance (mV)"])
def test_a_limit_of_error_is_not_taken_for_a_u(header):
    with pytest.raises(ReadingError, match=r"a limit of error that does not say what it is.*sqrt\(3\) \(GUM 4.3.7\)"):
        understand_headings(["Mood", header], "log.csv:1")


def test_an_error_code_is_no_limit_of_error():
    assert one("Error code").column == ""
