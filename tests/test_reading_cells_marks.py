"""Marks of cells without a number of their own. What is not SCPI's is common practice, no source."""

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.marks import fill_dittos, is_ditto, is_gap, missing_mark, spreadsheet_date

# SCPI-1999, volume 1, 7.2.1 (from memory): infinity 9.9E37, negative infinity -9.9E37, not a number 9.91E37
SCPI = {
    "9.9E37": "infinity", "+9.90000000E+37": "infinity", "9,9E37": "infinity", "9.9e+037": "infinity",
    "-9.9E37": "negative infinity", "\u22129.9E+37": "negative infinity",
    "9.91E37": "not-a-number", "+9.91000000E+37": "not-a-number", "9,91E37": "not-a-number",
    "9.91E+37 Hz": "not-a-number",
}  # fmt: skip


@pytest.mark.parametrize("cell", SCPI)
def test_the_three_marks_of_scpi(cell):
    assert missing_mark(cell) == f"SCPI {SCPI[cell]}, over-range mark {cell!r}"
    assert not is_gap(cell)


@pytest.mark.parametrize(
    ("cells", "reason"),
    [
        ("OVER|over|OVLD|OL|O.L|0.L|+OL|-OL|OVERFLOW|Over-range|over range|---|--|----.--|"
         "*****|___|OVER mV|OL V|--- MHz|1e38",
         "over-range mark"),
        ("UNDER|under-range|Underflow", "under-range mark"),
        ("n/a|N/A|NA|#N/A|n.a.|-|\u2013|\u2014|?|null|- V", "no reading, marked"),
        ("#VALUE!|#DIV/0!|#REF!|#NUM!|#NAME?|#WERT!", "spreadsheet error"),
        ("###|########", "number hidden, its spreadsheet column was too narrow:"),
    ],
)  # fmt: skip
def test_each_mark_says_what_it_is(cells, reason):
    for cell in cells.split("|"):
        assert missing_mark(cell) == f"{reason} {cell!r}"
        assert is_gap(cell) == reason.startswith("no reading")
    assert (missing_mark(""), is_gap("")) == ("no reading", True)


@pytest.mark.parametrize(
    "cell", ["0", "-1.5", "9.7e37", "- 1", "2\u00b5", "MHz", "nan", "six", "over the hill", "5 V", "E", '"']
)
def test_what_is_no_mark(cell):
    assert missing_mark(cell) == ""


@settings(max_examples=200, deadline=None)
@given(value=st.floats(-1e30, 1e30), comma=st.booleans(), unit=st.sampled_from(["", " V", " MHz"]))
def test_no_number_of_a_bench_is_a_mark(value, comma, unit):
    assert missing_mark((repr(value).replace(".", ",") if comma else repr(value)) + unit) == ""


DITTOS = ['"', '""', "''", "\u2033", "\u201d", "\u201e", "\u3003", "do.", "do", "ditto", '-"-', '- " -', "-''-", ",,"]


def test_dittos():
    assert all(is_ditto(cell) for cell in DITTOS)
    assert not any(is_ditto(cell) for cell in ("", "-", "---", "done", "1", "'", "n/a"))


def test_a_ditto_takes_what_stands_above_it():
    filled, where = fill_dittos(["64.2?", '"', "do.", "", "\u3003", "OVER", "''"], str)
    assert filled == ["64.2?", "64.2?", "64.2?", "", "", "OVER", "OVER"]
    assert where == [1, 2, 4, 6]


def test_a_ditto_in_the_first_row():
    with pytest.raises(ReadingError, match=r"log.csv:2: a ditto with no row above it; found 'do.'; .*skip_lines"):
        fill_dittos(["do.", "1"], lambda k: f"log.csv:{k + 2}")


@pytest.mark.parametrize(
    ("cells", "numbers"),
    [
        ("05. Mrz|5. Mrz.|5-Mar|05-Mar|5 Mar|5. M\u00e4r|"
         "5. M\u00e4rz|05-mar-26|5 March 2026|2026-03-05|05.03.2026|5.3.26|2026-03-05 00:00:00",
         "5.3 or 5.03"),
        ("12. Dez|12-Dec|12 d\u00e9c|2026-12-12|12/12/2026", "12.12"),
        ("Mar 64|Mrz 64|Mar-64|M\u00e4r.64", "3.64"), ("Jan-1962", "1.1962"),
        ("12/5/2026", "12.5 or 12.05 or 5.12"), ("25/3/2026", "25.3 or 25.03"),
        ("1:30|01:30:00", "1.30"),
        ("64.2|5 Mrd|Mon 64|45.13.2026|0.5.2026|32-Mar-|5 mV|12:30:15|Mars|2026", ""),
    ],
)  # fmt: skip
def test_dates_that_were_numbers(cells, numbers):
    for cell in cells.split("|"):
        assert spreadsheet_date(cell) == numbers


@settings(max_examples=200, deadline=None)
@given(day=st.dates(datetime.date(2000, 1, 1), datetime.date(2099, 12, 31)))
def test_every_day_of_the_calendar_names_its_number(day):
    # strftime of the standard library writes the dates, in the C locale
    number = f"{day.day}.{day.month}"
    for written in ("%d-%b", "%d. %B", "%Y-%m-%d", "%d.%m.%Y", "%d/%m/%y", "%d-%b-%y"):
        assert number in spreadsheet_date(day.strftime(written)).split(" or ")
    assert spreadsheet_date(day.strftime("%b %y")) == f"{day.month}.{day:%y}"
