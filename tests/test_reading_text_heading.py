"""Where the headings stand. The forms of exports are common practice, no source."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.text.split import split

HEAD = "Drive (V),Frequency (MHz)\n"


def grid_of(text, **layout):
    return split("log.csv", text.encode(), Layout(**layout))


def test_keys_with_numbers_are_not_readings():
    above = "".join(f"Setting {chr(97 + i)},{i}\n" for i in range(25))
    grid = grid_of(above + "Time (s),Counter (MHz),Diffracted (uW),Dark (uW)\n0,64.1,15,2\n1,64.2,16,2\n2,64.3,17,2\n")
    assert (grid.header.line, len(grid.rows), len(grid.preamble)) == (26, 3, 25)
    assert grid.preamble[3].cells == ("Setting d", "3")


def test_keys_with_numbers_above_readings_in_two_columns():
    above = "Operator,bench\nSerial,12\nRange,5\nCoupling,DC\nScale,0.5\n"
    grid = grid_of(above + HEAD + "1,46\n2,51\n")
    assert (grid.header.line, [row.line for row in grid.rows]) == (6, [7, 8])


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ("Sample interval,0.5 s", ("Sample interval", "0.5 s")),
        ("Sample interval: 0.5 s", ("Sample interval", "0.5 s")),
        ("Sample interval = 0.5 s", ("Sample interval", "0.5 s")),
        ("Sample interval:,0.5,s", ("Sample interval", "0.5", "s")),
        ('"Sample interval","0.5","s"', ("Sample interval", "0.5", "s")),
        ("# Sample interval: 0.5 s", ("Sample interval", "0.5 s")),
        ("Sample interval\t0.5 s", ("Sample interval", "0.5 s")),
        ("Note: lid closed, lamp off", ("Note", "lid closed, lamp off")),
        ("Begun 12:30", ("Begun 12:30",)),
        ("Start: 12:30:05", ("Start", "12:30:05")),
        ("Skerry bench,,", ("Skerry bench",)),
        ("0.25", ("0.25",)),
    ],
)
def test_a_line_above_the_headings(line, cells):
    assert grid_of(f"{line}\n\n{HEAD}1,46\n2,51\n").preamble[0].cells == cells


def test_titles_headings_units():
    grid = grid_of("up,,down,\nDrive,Counter,Drive,Counter\nV,(MHz),V,[MHz]\n1,46,2,51\n")
    assert grid.titles.cells == ("up", "", "down", "")
    assert grid.header.cells == ("Drive", "Counter", "Drive", "Counter")
    assert grid.units.cells == ("V", "(MHz)", "V", "[MHz]")
    assert [row.line for row in grid.rows] == [4]


def test_headings_in_a_comment_right_above():
    grid = grid_of("# Skerry\n# Time (s), Counter (MHz)\n0,46\n1,47\n")
    assert (grid.header.cells, len(grid.preamble)) == (("Time (s)", "Counter (MHz)"), 1)


def test_no_headings():
    grid = grid_of("1.0,45.783\n2.0,50.541\n")
    assert (grid.header, grid.units, len(grid.rows)) == (None, None, 2)


def test_one_column():
    grid = grid_of("Sample interval: 2 ms\nOffset: 512 counts\nDiffracted (counts)\n3810\n3832\n")
    assert (grid.header.cells, [row.cells for row in grid.rows]) == (("Diffracted (counts)",), [("3810",), ("3832",)])


def test_headings_with_numbers():
    assert grid_of("Drive (V),450 nm,515 nm\n1,46,33\n2,47,34\n").header.cells == ("Drive (V)", "450 nm", "515 nm")


@pytest.mark.parametrize("bad", ["six,46", "abc,def"])
def test_a_bad_row_is_not_taken_for_headings(bad):
    for text in (f"{HEAD}{bad}\n1,46\n2,51\n", f"{HEAD}1,46\n{bad}\n2,51\n3,55\n"):
        grid = grid_of(text)
        assert (grid.header.line, len(grid.rows)) == (1, text.count("\n") - 1)


def test_text_below_the_headings_is_passed_over():
    grid = grid_of(f"{HEAD}begun late\n1,46\n2,51\n")
    assert ([r.line for r in grid.rejected], len(grid.rows)) == ([2], 2)


@pytest.mark.parametrize("ends", [("", ","), (",", ""), (",", ",")])
def test_a_separator_at_line_ends(ends):
    grid = grid_of(f"a,b{ends[0]}\n1,46{ends[1]}\n2,51{ends[1]}\n")
    assert [grid.header.cells, *(row.cells for row in grid.rows)] == [("a", "b"), ("1", "46"), ("2", "51")]


def test_an_empty_column_between_blocks_stays():
    assert grid_of("a,b,,a,b\n1,2,,3,4\n").rows[0].cells == ("1", "2", "", "3", "4")


def test_two_tables_below_each_other():
    message = r"log.csv:4: two rows that could be the headings; found 'Drive \(mV\),Frequency.*heading_line = 1 or head"
    with pytest.raises(ReadingError, match=message):
        grid_of(f"{HEAD}1,46\n2,51\nDrive (mV),Frequency (MHz)\n1000,46\n")


def test_readings_above_the_headings():
    with pytest.raises(ReadingError, match=r"log.csv:1: a row like the readings above the headings; found '1,46'"):
        grid_of(f"1,46\n{HEAD}2,51\n3,55\n")


def test_fewer_headings_than_cells():
    with pytest.raises(ReadingError, match=r"log.csv:2: 4 cells below 2 headings; found '1,5,48,25'; allowed: 2 cells"):
        grid_of(f"{HEAD}1,5,48,25\n")


def test_stated_lines():
    text = "A,B\nC,D\nV,MHz\n1,46\n2,51\n"
    grid = grid_of(text, heading_line=1, units_line=3, skip_lines={2: "second name"})
    assert (grid.header.cells, grid.units.cells, [r.line for r in grid.rows]) == (("A", "B"), ("V", "MHz"), [4, 5])
    assert [(r.line, r.reason) for r in grid.rejected] == [(2, "second name")]
    grid = grid_of("1,46\n2,51\n", heading_line=0)
    assert (grid.header, len(grid.rows)) == (None, 2)


@pytest.mark.parametrize("key", ["heading_line", "units_line"])
def test_a_stated_line_that_is_not_there(key):
    with pytest.raises(
        ReadingError, match=rf"log.csv:9: {key} in the layout names a line without cells; found no such"
    ):
        grid_of(HEAD + "1,46\n", **{key: 9})
