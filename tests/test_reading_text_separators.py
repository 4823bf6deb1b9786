"""What stands between the cells: found from the rows of numbers."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import SEPARATORS, Layout
from aotf_lab.reading.text.split import split

ROWS = [("Drive (V)", "Frequency (MHz)"), ("1.5", "48.25"), ("2.5", "53.1")]


@pytest.mark.parametrize("separator", SEPARATORS)
def test_each_separator(separator):
    mark = SEPARATORS[separator] * (3 if separator == "blanks" else 1)
    grid = split("log.txt", "\n".join(mark.join(row) for row in ROWS).encode())
    assert grid.form.separator == separator
    assert "2 rows of numbers have 2 cells" in grid.form.separator_evidence
    assert [grid.header.cells, *(row.cells for row in grid.rows)] == ROWS


def test_single_blanks_below_headings_with_blanks():
    grid = split("log.txt", b"Time (s) Counter (MHz)\n0.0 46.1\n0.5 46.2\n")
    assert grid.header.cells == ("Time (s)", "Counter (MHz)")


def test_the_readings_decide_and_not_the_lines_above():
    above = "Bench, Skerry\nNote, lid closed, lamp off\nAverages, 8\n" * 8
    grid = split("log.csv", f"{above}Drive (V);Counter (MHz)\n1,5;48,25\n2,5;53,1\n3,5;57,3\n".encode())
    assert (grid.form.separator, grid.form.decimal_mark, len(grid.preamble)) == ("semicolon", ",", 24)
    assert grid.preamble[2].cells == ("Averages", "8")


def test_dates_with_a_blank_are_one_cell():
    grid = split("log.csv", b"Time,Counts\n2031-03-04 12:00:00,15\n2031-03-04 12:00:01,16\n")
    assert grid.rows[0].cells == ("2031-03-04 12:00:00", "15")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "1,500 480,250\n2,500 531,100\n",
            r"log.csv:1: separator in doubt: 3 cells with comma or 2 cells with blanks.*separator = \"",
        ),
        (
            "Frequency (kHz)\n64 228\n64 229\n",
            r"log.csv:2: separator in doubt: 2 cells with blanks or 1 cell with none",
        ),
    ],
)
def test_two_separators_that_explain_the_file_equally_well(text, message):
    with pytest.raises(ReadingError, match=message):
        split("log.csv", text.encode())


def test_the_layout_settles_the_doubt():
    text = b"1,500 480,250\n2,500 531,100\n"
    grid = split("log.csv", text, Layout(separator="blanks", decimal_mark=","))
    assert grid.rows[0].cells == ("1,500", "480,250")
    assert split("log.csv", text, Layout(separator="comma")).rows[0].cells == ("1", "500 480", "250")


def test_the_layout_names_a_separator_that_is_not_known():
    with pytest.raises(ReadingError, match=r"layout: a separator that is not known; found ','; allowed: comma, semic"):
        split("log.csv", b"a,b\n1,2\n", Layout(separator=","))


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(st.tuples(*[st.decimals(-500, 500, places=2)] * 3), min_size=2, max_size=9),
    separator=st.sampled_from(sorted(SEPARATORS)),
    above=st.lists(st.sampled_from(["Probe: 10x", "Range,5", '"Span","2","V"', "Skerry bench", "Rate = 3", "", "7"])),
    codec=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    comma=st.booleans(),
)
def test_what_was_written_is_what_is_split(rows, separator, above, codec, comma):
    comma = comma and separator != "comma"
    mark = SEPARATORS[separator] * (2 if separator == "blanks" else 1)
    written = [tuple(f"{cell}".replace(".", "," if comma else ".") for cell in row) for row in rows]
    lines = [*above, mark.join(["Drive (V)", "Counter (MHz)", "T (°C)"]), *map(mark.join, written), ""]
    grid = split("log.csv", "\n".join(lines).encode(codec))
    assert [row.cells for row in grid.rows] == written
    assert grid.form.decimal_mark == ("," if comma else ".")
    assert grid.form.separator == separator
    assert [row.line for row in grid.rows] == list(range(len(above) + 2, len(above) + 2 + len(rows)))
    assert len(grid.preamble) == sum(bool(line) for line in above)
