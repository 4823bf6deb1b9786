"""Which heading means what, where one heading alone does not say it. Common practice, no source."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_counter, read_power_log, read_scope_levels, read_table
from aotf_lab.reading.layout import Layout, StatedColumn


def meanings(readings):
    return {c.header: c.meaning for c in readings.receipts[0].columns}


def test_a_row_of_units_and_units_in_cells_and_above(log):
    text = "Unit: mW\n\nTime;Drive;Diffracted;Counter\ns;mV;;\n0;1500;0,25;46,25 MHz\n1;2500;0,75;51,5 MHz\n"
    readings = read_table(log(text))
    row = readings.table.iloc[0]
    assert (row["drive_v"], row["frequency_mhz"], row["optical_power_mw"]) == (1.5, 46.25, 0.25)
    evidence = {c.header: c.evidence for c in readings.receipts[0].columns}
    assert "in the row of units, line 4" in evidence["Drive"]
    assert "in the cells" in evidence["Counter"]
    assert "above the headings, line 1" in evidence["Diffracted"]
    assert [s.use for s in readings.receipts[0].settings] == ["unit of 'Diffracted'"]


def test_a_unit_in_the_heading_and_another_below_it(log):
    with pytest.raises(ReadingError, match=r"two units for drive_v: mV as stated, and V in the row of units, line 2"):
        read_table(log("Drive (mV),Counter (MHz)\nV,MHz\n1,46\n"))


def test_the_only_column_of_its_kind_is_claimed(log):
    readings = read_counter(log("CH1 (V),CH2 (MHz),Supply (V)\n1,46,12\n2,51,12\n"))
    assert meanings(readings) == {"CH1 (V)": "drive_v", "CH2 (MHz)": "frequency_mhz", "Supply (V)": "supply_v"}
    assert readings.receipts[0].columns[0].evidence == "the only column in volts; unit 'V' in the heading"


def test_two_columns_of_one_kind_are_never_claimed(log):
    message = (
        r"no column that means drive_v; 'CH1 \(V\)', 'CH2 \(V\)' are of its kind.*layout: columns = \{ drive_v = \"CH1"
    )
    with pytest.raises(ReadingError, match=message):
        read_counter(log("CH1 (V),CH2 (V),Counter (MHz)\n1,12,46\n"))


def test_what_was_said_not_to_be_used_is_not_claimed(log):
    readings = read_counter(log("CH1 (V),CH2 (V),Counter (MHz)\n1,12,46\n"), columns={"not_used": "CH2 (V)"})
    assert readings.table["drive_v"].tolist() == [1.0]


def test_a_level_is_the_only_column_that_shows_one(log):
    assert read_scope_levels(log("CH1 (Vpp),Set\n1,3\n")).table["rf_level_vrms"].tolist() == pytest.approx([8**-0.5])


def test_two_kinds_that_could_give_the_rf_power(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: no column that means an RF level or RF power"):
        read_scope_levels(log("Supply (V),CH1 (Vpp),CH2 (dBm)\n12,1,3\n"))


def test_no_heading_row_and_units_in_the_cells(log):
    readings = read_counter(log("1.5 V,46.25 MHz\n2.5 V,51.5 MHz\n"))
    assert readings.table[["drive_v", "frequency_mhz"]].to_numpy().tolist() == [[1.5, 46.25], [2.5, 51.5]]
    assert meanings(readings) == {"column 1": "drive_v", "column 2": "frequency_mhz"}


def test_no_heading_row_and_no_unit(log):
    message = (
        r"log.csv:1: no heading row, and no column that means drive_v.*found '1.5,46.25'.*\{ drive_v = \"column 1\" \}"
    )
    with pytest.raises(ReadingError, match=message):
        read_counter(log("1.5,46.25\n2.5,51.5\n"))


def test_a_power_in_dbm_is_offered_for_the_light(log):
    text = "Frequency (MHz),Power (dBm),Incident (dBm)\n64.0,-20.00,-3.01\n64.1,-10.00,-3.01\n"
    with pytest.raises(ReadingError, match=r'columns = \{ optical_power_mw = "Power \(dBm\)" \}'):
        read_power_log(log(text))
    table = read_power_log(log(text), columns={"optical_power_mw": "Power (dBm)"}).table
    assert table["optical_power_mw"].tolist() == pytest.approx([0.01, 0.1])


def test_columns_named_by_their_place(log):
    columns = {"drive_v": "column 1", "frequency_mhz": "column 2"}
    assert read_counter(log("1.5,46.25\n2.5,51.5\n"), columns=columns).table["drive_v"].tolist() == [1.5, 2.5]
    readings = read_counter(log("Set,Set\n1.5,46.25\n2.5,51.5\n"), columns=columns)
    assert readings.table["frequency_mhz"].tolist() == [46.25, 51.5]


def test_a_layout_states_columns_and_a_call_goes_before_it(log):
    layout = Layout(columns={"drive_v": StatedColumn(("Set",), "mV"), "frequency_mhz": StatedColumn(("Read",), "kHz")})
    path = log("Set,Read,Other\n1500,46250,2\n")
    assert read_counter(path, layout=layout).table["drive_v"].tolist() == [1.5]
    table = read_counter(path, layout=layout, columns={"drive_v": "Other"}).table
    assert table[["drive_v", "frequency_mhz"]].to_numpy().tolist() == [[2.0, 46.25]]


def test_a_layout_and_a_row_of_units_that_differ(log):
    layout = Layout(columns={"optical_power_mw": StatedColumn(("Diffracted",), "mW")})
    with pytest.raises(ReadingError, match=r"two units for optical_power_mw: mW as stated, and uW in the row of units"):
        read_power_log(log("Time,Diffracted\ns,uW\n0,412\n1,415\n"), layout=layout)


def test_one_heading_for_two_columns(log):
    with pytest.raises(ReadingError, match=r"one heading mapped to drive_v and to supply_v; found 'Set'"):
        read_table(log("Set,f (MHz)\n1,46\n"), columns={"drive_v": "Set", "supply_v": "Set"})


def test_a_column_of_units(log):
    readings = read_power_log(log("Time (s),Diffracted,Unit\n0,912.5,uW\n1,1.25,mW\n"))
    assert readings.table["optical_power_mw"].tolist() == [0.9125, 1.25]
    assert readings.receipts[0].columns[2].evidence == "units of the column on its left, 'Diffracted'"


def test_a_cell_without_a_unit_among_cells_with_one(log):
    with pytest.raises(ReadingError, match=r"log.csv:3, column 'Diffracted'.*found '1.25'"):
        read_power_log(log("Time (s),Diffracted\n0,912.5 uW\n1,1.25\n2,1.5 mW\n"))
