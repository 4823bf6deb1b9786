"""One column of cells: units in the cells, auto-range, dBm among watts, dittos, gaps, and what is refused."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.column import read_column, units_in
from aotf_lab.reading.text.grid import TextForm
from aotf_lab.reading.units import UNITLESS, parse_unit
from tests.house import published

POINT = TextForm("utf-8", "", "comma", "", ".", "")
COMMA = TextForm("utf-8", "", "semicolon", "", ",", "", ".")


def read(cells, unit, column, form=POINT):
    stated = parse_unit(unit) if unit else unit if unit is None else UNITLESS
    return read_column(cells, stated, column, form, lambda row: f"log.csv:{row + 2}, column 'X'")


@pytest.mark.parametrize(
    ("cells", "unit", "column", "expected"),
    [
        (["1.5", "-2", "3e1", ".5"], "mV", "drive_v", [0.0015, -0.002, 0.03, 0.0005]),
        (["12k3", "12K3", "64.2285M", "12 kHz", "12K"], None, "frequency_mhz", [0.0123, 0.0123, 64.2285, 0.012, 0.012]),
        (["850u", "1m2", "850 \u00b5", "850\u03bc"], "W", "optical_power_mw", [0.85, 1.2, 0.85, 0.85]),
        (["412 mV", "1.24 V"], "V", "drive_v", [0.412, 1.24]),
        (["412 mV", "1.24 V"], "Vrms", "rf_level_vrms", [0.412, 1.24]),
        (["412 mV", "1.24 V"], "Vpp", "rf_level_vrms", [0.412 / math.sqrt(8), 1.24 / math.sqrt(8)]),
        (["1V25", "2V", "3"], "V", "drive_v", [1.25, 2.0, 3.0]),
        (["22.0", "295.15 K", "22.5 \u00b0C"], "degC", "temperature_c", [22.0, 22.0, 22.5]),
        (["295.15"], "K", "temperature_c", [22.0]),
        (["0.5"], "K", "u_temperature_c", [0.5]),
        (["0.5", "88 %"], "", "efficiency", [0.5, 0.88]),
        (["0.5"], None, "efficiency", [0.5]),
        (["5889.6 \u00c5", "5889.6 Angstrom", "5.8896e-7 m", "0.58896um"], "nm", "wavelength_nm", [588.96] * 4),
        (["0 dBW", "30 dBm"], None, "rf_power_w", [1.0, 1.0]),
        (["120 mA", "0.12A"], None, "supply_a", [0.12, 0.12]),
        (["4k"], "Hz", "u_frequency_mhz", [0.004]),
        (["5 m", "5 mV"], "V", "drive_v", [0.005, 0.005]),
        ([], "V", "drive_v", []),
    ],
)  # fmt: skip
def test_what_a_person_reads(cells, unit, column, expected):
    got = read(cells, unit, column)
    assert got.values == pytest.approx(expected, rel=1e-12)
    assert got.values.dtype == np.float64
    assert set(got.rejected) | set(got.flagged) <= {""}
    assert len(got.rejected) == len(got.flagged) == len(cells)


def test_dbm_among_watts_in_a_power_column():
    rows = published("rf_50ohm.csv")  # dBm and W of the same power; the source stands in each row
    cells = [f"{row['dBm']} dBm" if k % 2 else f"{row['P_W']} W" for k, row in enumerate(rows)]
    got = read(cells, "W", "rf_power_w")
    assert got.values == pytest.approx([float(row["P_W"]) for row in rows], rel=5e-5)
    assert got.units == ("W", "dBm")


def test_auto_range_says_where_the_unit_changes():
    got = read(["912 uW", "961 \u00b5W", "OVER", "1.012 mW", "1.066mW"], None, "optical_power_mw")
    assert got.values[[0, 1, 3, 4]] == pytest.approx([0.912, 0.961, 1.012, 1.066])
    assert got.units == ("uW", "mW")
    assert got.notes == ("log.csv:5, column 'X': unit changes from uW to mW",)


def test_cells_that_contradict_the_unit_of_the_heading_are_noted():
    got = read(["912", "1.012 mW", "998"], "uW", "optical_power_mw")
    assert got.values == pytest.approx([0.912, 1.012, 0.998])
    assert got.notes[0] == "heading says uW, cells say mW: each cell's own holds"
    assert got.notes[1:] == (
        "log.csv:3, column 'X': unit changes from uW to mW", "log.csv:4, column 'X': unit changes from mW to uW",
    )  # fmt: skip


def test_capitals_in_doubt_are_settled_by_the_heading():
    got = read(["62.5 mhz", "64 MHZ"], "MHz", "frequency_mhz")
    assert got.values.tolist() == [62.5, 64.0]
    assert got.notes[0] == "mhz in the cells read as MHz, which the heading or the layout states"


def test_many_changes_become_one_note():
    got = read(["1 V", "1000 mV"] * 5, None, "drive_v")
    assert got.values.tolist() == [1.0] * 10
    assert len(got.notes) == 1
    assert "unit changes 9 times between V, mV, first at log.csv:3, column 'X'" in got.notes[0]


def test_one_unit_in_every_cell():
    got = read(["64.2285 MHz", "64.2290 MHz"], None, "frequency_mhz")
    assert got.values.tolist() == [64.2285, 64.229]
    assert (got.units, got.notes) == (("MHz",), ())


def test_gaps_marks_doubts_and_dittos():
    got = read(["64.2", "", '"', "64.3?", "do.", "9.91E37", "''", "n/a", "64.4"], "MHz", "frequency_mhz")
    assert np.isnan(got.values).tolist() == [False, True, True, False, False, True, True, True, False]
    assert got.values[[0, 3, 4, 8]].tolist() == [64.2, 64.3, 64.3, 64.4]
    assert [r.split(" '")[0] for r in got.rejected] == [
        "", "no reading", "no reading", "", "", *["SCPI not-a-number, over-range mark"] * 2, "no reading, marked", "",
    ]  # fmt: skip
    assert [k for k, reason in enumerate(got.flagged) if reason] == [3, 4]
    assert got.notes == ("3 ditto marks take the cell above them, the first at log.csv:4, column 'X'",)


@pytest.mark.parametrize("mark", ["9.9E37", "-9.91e+37", "1" + 38 * "0", "9.9e37 MHz"])
@pytest.mark.parametrize("others", [["64.2"], ["64.2", ""]])
def test_a_mark_that_would_pass_as_a_number(others, mark):
    got = read([*others, mark], "MHz", "frequency_mhz")
    assert math.isnan(got.values[-1])
    assert got.rejected[-1].endswith(f"over-range mark {mark!r}")


@pytest.mark.parametrize("others", [["64.2"], ["64.2", ""]])
def test_a_number_too_small_to_be_kept(others):
    with pytest.raises(ReadingError, match=r"log.csv:\d, column 'X': a number that no bench reads; found '1e-400'"):
        read([*others, "1e-400"], "MHz", "frequency_mhz")


def test_counts_of_a_converter():
    assert read(["3810", "512 LSB", "4095 counts"], "counts", "counts").values.tolist() == [3810.0, 512.0, 4095.0]
    with pytest.raises(ReadingError, match=r"a ratio cannot be counts; found '%'; allowed: counts"):
        read(["88 %"], "counts", "counts")


def test_units_in_the_cells():
    assert units_in(["1.5", "", "OVER", "-3.2 dBm", "2mV", "4 dBm", "six", "850u"], POINT) == ("dBm", "mV")


@pytest.mark.parametrize(
    ("cells", "unit", "column", "message"),
    [
        (["12", "12k3"], "MHz", "frequency_mhz",
         r"log.csv:3, column 'X': the SI letter k contradicts the .* unit MHz; found '12k3'; .*\"Hz\".*skip_lines"),
        (["850u"], "uW", "optical_power_mw",
         r"letter u contradicts the heading's unit uW; found '850u'; .*unit = \"W\""),
        (["64M"], "dBm", "rf_power_w", r"letter M contradicts the heading's unit dBm; found '64M'"),
        (["5m"], "", "efficiency", r"letter m contradicts the heading's unit 1; found '5m'"),
        (["5m"], None, "temperature_c", r"letter m does not fit the unit degC; found '5m'"),
        (["64m"], None, "frequency_mhz",
         r"log.csv:2, column 'X': ambiguous unit: m is milli and M is mega; found 'mHz'"),
        (["12k"], "V", "drive_v", r"unknown unit; found 'kV'"),
        (["62 mhz"], None, "frequency_mhz",
         r"log.csv:2, column 'X': ambiguous unit: m is milli and M is mega; found 'mhz'"),
        (["5m"], "s", "time_s",
         r"m may be milli or minutes; found '5m'; allowed: the whole unit, such as ms; pass the line"),
        (["5m"], None, "wavelength_nm", r"m may be milli or metres; found '5m'"),
        (["5 K"], "V", "drive_v", r"K may be kilo or kelvin; found '5 K'; allowed: k for kilo"),
        (["5K1"], "W", "rf_power_w", r"K may be kilo or kelvin; found '5K1'"),
        (["5 V", "6"], None, "drive_v",
         r"log.csv:3, column 'X': a number without a unit in cell or heading.*found '6'; .*in a layout"),
        (["5"], None, "rf_level_vrms",
         r"without a unit in cell or heading, .* of rf_level_vrms; found '5'; .*unit = \"Vrms\""),
        (["5m"], None, "rf_level_vrms", r"without a unit in cell or heading, .* of rf_level_vrms; found '5m'"),
        (["1.2 Vrms", "-3 dBm"], None, "rf_level_vrms",
         r"log.csv:3.*in dBm and one in volts in the same column.*found '-3 dBm'"),
        (["-3", "1.2 Vpp"], "dBm", "rf_level_dbm",
         r"log.csv:3.*in dBm and one in volts in the same column.*found '1.2 Vpp'"),
        (["5889.6 A"], "nm", "wavelength_nm", r"a current cannot be wavelength_nm: A is ampere; .*found 'A'"),
        (["-3 dB"], None, "rf_power_w",
         r"a level ratio cannot be rf_power_w: a ratio in dB says nothing without its reference"),
        (["5 Vp"], "V", "drive_v",
         r"ambiguous unit: a peak value may be counted from zero or from the other peak; found 'Vp'"),
        (["5", "six"], "V", "drive_v",
         r"log.csv:3, .*: text in a number; found 'six'; .* in V, such as 1.25; .* in a layout: skip_lines = \{ 3 = "),
        (["5", "nan"], "V", "drive_v", r"log.csv:3, column 'X': a number that is not finite; found 'nan'"),
        (["64.2(3)"], "MHz", "frequency_mhz",
         r"a number with its uncertainty in one cell; found '64.2\(3\)'; .*headed u\(...\)"),
        (["5", "5. Mrz"], "V", "drive_v",
         r"log.csv:3, .*: a date in a number: .* of 5.3 or 5.03; found '5. Mrz'; .*as text"),
        (["do."], "V", "drive_v", r"log.csv:2, column 'X': a ditto with no row above it; found 'do.'"),
        (["0.1", "0"], "MHz", "u_frequency_mhz",
         r"log.csv:3, column 'X': a standard uncertainty that is not above zero; found '0'"),
        (["0.1", "", "-1 kHz"], "MHz", "u_frequency_mhz",
         r"log.csv:4, column 'X': a standard uncertainty .*; found '-1 kHz'"),
        (["-30 dBm"], "W", "u_rf_power_w", r"a power level cannot be u_rf_power_w; found 'dBm'"),
    ],
)  # fmt: skip
def test_what_is_refused_and_what_can_be_done(cells, unit, column, message):
    with pytest.raises(ReadingError, match=message):
        read(cells, unit, column)


def test_a_comma_is_shown_where_commas_are_decimal():
    with pytest.raises(
        ReadingError, match=r"text in a number; found '1.5'; allowed: a finite number in V, such as 1,25; state"
    ):
        read(["1.5"], "V", "drive_v", COMMA)
    assert read(["1.500,5", "1,5 kHz", "2,5"], "Hz", "frequency_mhz", COMMA).values == pytest.approx(
        [0.0015005, 0.0015, 2.5e-6]
    )


NUMBERS = st.lists(st.floats(-1e9, 1e9).map(repr) | st.integers(-(10**9), 10**9).map(str), min_size=1, max_size=20)


@settings(max_examples=150, deadline=None)
@given(cells=NUMBERS, comma=st.booleans(), unit=st.sampled_from(["", " mV", "V"]))
def test_a_gap_changes_nothing_in_the_other_rows(cells, comma, unit):
    # a whole column of plain numbers is read at once, one with a gap cell by cell: the same numbers
    form = COMMA if comma else POINT
    cells = [(c.replace(".", ",") if comma else c) + unit for c in cells]
    whole, gap = read(cells, "mV", "drive_v", form), read([*cells, ""], "mV", "drive_v", form)
    assert whole.values.tolist() == gap.values[:-1].tolist()
    assert (whole.units, whole.notes) == (gap.units, gap.notes)


ODD = st.sampled_from(
    [
        "",
        "OVER",
        "9.9E37",
        "1e999",
        "1e-999",
        "1.5e3",
        "1_0",
        "nan",
        "inf",
        "\u0661",
        "1\n2",
        " 5",
        "5?",
        "-",
        "1,5",
        "1.5",
    ]
)


@settings(max_examples=300, deadline=None)
@given(cells=st.lists(ODD | st.text("0123456789.,eE+- ", max_size=5), min_size=1, max_size=3), comma=st.booleans())
def test_no_other_error_and_no_number_from_nothing(cells, comma):
    try:
        got = read(cells, "V", "drive_v", COMMA if comma else POINT)
    except ReadingError:
        return
    for cell, value, reason in zip(cells, got.values, got.rejected, strict=True):
        assert math.isnan(value) == bool(reason)
        if not reason:
            text = cell.strip(" ?")
            assert value == float(text.replace(".", "").replace(",", ".") if comma else text)
