"""Rows below the headings that are no readings, ragged rows, and files without any. Common practice, no source."""

import random

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.text.split import split

HEAD = "Drive (V),Frequency (MHz)\n"


def grid_of(text, **layout):
    return split("log.csv", text.encode(), Layout(**layout))


@pytest.mark.parametrize(
    "line",
    [
        "Mean,64.2",
        "Average:,64.2",
        "Std dev,0.1",
        "Min,1",
        "MAX,2",
        "End of data",
        "12 rows",
        "n = 12",
        "Finished",
        "-----",
    ],
)
def test_a_summary_below_the_last_reading(line):
    grid = grid_of(f"{HEAD}1,46\n2,51\n\n{line}\n")
    assert (len(grid.rows), [(r.line, r.text) for r in grid.rejected]) == (2, [(5, line)])
    assert grid.rejected[0].reason


def test_a_label_is_not_taken_for_a_summary():
    grid = grid_of("Label,Peak frequency (MHz)\nM,86.3\nN,64.2\n")
    assert [row.cells[0] for row in grid.rows] == ["M", "N"]


def test_a_summary_among_the_readings_is_left_to_be_refused():
    assert len(grid_of(f"{HEAD}1,46\nMean,46\n2,51\n").rows) == 3


def test_headings_and_units_again():
    grid = grid_of("Drive,Counter\nV,MHz\n1,46\nDrive,Counter\nV,MHz\n2,51\n")
    assert [(r.line, r.reason) for r in grid.rejected] == [(4, "the headings again"), (5, "the units again")]
    assert [row.line for row in grid.rows] == [3, 6]


def test_units_that_change():
    with pytest.raises(
        ReadingError, match=r"log.csv:4: a second row of units that differs from the first; found 'V,kHz"
    ):
        grid_of("Drive,Counter\nV,MHz\n1,46\nV,kHz\n2,51000\n")


@pytest.mark.parametrize(("row", "cells"), [("1.0", 1), ("1.0,46.0,3", 3)])
def test_a_ragged_row_names_the_layout(row, cells):
    message = rf"log.csv:3: {cells} cells below 2 headings; found '{row}'.*pass line 3 over .*skip_lines = {{ 3 = \"rea"
    with pytest.raises(ReadingError, match=message):
        grid_of(f"{HEAD}0.5,43.1\n{row}\n2,51\n")


def test_a_row_that_the_layout_passes_over():
    grid = grid_of(f"{HEAD}0.5,43.1\n1.0\n2,51\n", skip_lines={3: "typed in haste", 9: "none"})
    assert [(r.line, r.text, r.reason) for r in grid.rejected] == [(3, "1.0", "typed in haste")]
    assert grid.notes == ("line 9 in skip_lines of the layout is blank or not there",)


@pytest.mark.parametrize("text", ["", "\n\n", "# only a remark\n", "\ufeff", ",,\n"])
def test_an_empty_file(text):
    with pytest.raises(ReadingError, match=r"log.csv: empty file; found \d+ bytes, no heading and no row"):
        grid_of(text)


@pytest.mark.parametrize("text", [HEAD, f"{HEAD}\n,\n# end\n", f"Skerry bench\n{HEAD}"])
def test_headings_alone(text):
    with pytest.raises(ReadingError, match=r"log.csv:\d: headings without readings; found 'Drive \(V\),Frequency"):
        grid_of(text)


def test_any_damage_gives_a_grid_or_an_error_of_the_library():
    base = b'Probe: 10x\nDrive (V);Counter (MHz)\nV;MHz\n1,5;48,25\n2,5;"53,1"\n# lid\n3,5;---\nMean;50,7\n'
    dice = random.Random(20310304)
    outcomes = {"grid": 0, "error": 0}
    for _ in range(1500):
        content = bytearray(base)
        for _ in range(dice.choice([1, 2, 8])):
            at = dice.randrange(len(content))
            content[at : at + dice.choice([0, 1, 4])] = bytes(
                dice.choice(b'";,\t |\n\r.-#1=\x00\xb5\xff') for _ in range(2)
            )
        try:
            grid = split("log.csv", bytes(content))
        except ReadingError as error:
            outcomes["error"] += error.where.startswith("log.csv")
        else:
            width = len(grid.header.cells) if grid.header else len(grid.rows[0].cells)
            assert {len(row.cells) for row in grid.rows} == {width}
            outcomes["grid"] += 1
    assert sum(outcomes.values()) == 1500
    assert min(outcomes.values()) > 100


@pytest.mark.parametrize("piece", ["<a", "mean ", "a: ", "1,234", " ", "-", ";", '"', "#", "a(", "\t", "1.", "µ5,"])
def test_long_lines_take_no_longer_than_their_length(piece):
    # expressions that try every pair of places in a line would take minutes here
    with pytest.raises(ReadingError, match=r"log.csv:\d: "):
        grid_of(f"{piece * 30000}x\n{HEAD}1,46\n2,51,3\n3,55\n4,58\n")
    with pytest.raises(ReadingError, match=r"log.csv:\d: "):
        grid_of(f"{HEAD}1,46\n2,51,3\n{piece * 30000}x\n3,55\n4,58\n")
