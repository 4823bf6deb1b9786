"""Lines and cells. Quoting: RFC 4180, section 2, rules 5 to 7."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.text.cells import WIDE, cells_of, dittos_of
from aotf_lab.reading.text.lines import Line, comment_of, lines_of, without_remark
from aotf_lab.reading.text.split import split


def test_the_example_of_rfc_4180():
    # RFC 4180, section 2, rules 6 and 7: a line break, and a doubled quotation mark, inside quoted cells
    assert [cells_of(line.text, "comma") for line in lines_of('"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx').lines] == [
        ("aaa", "b bb", "ccc"),
        ("zzz", "yyy", "xxx"),
    ]
    assert cells_of('"aaa","b""bb","ccc"', "comma") == ("aaa", 'b"bb', "ccc")


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
def test_every_line_end_counts_lines_alike(ends):
    found = lines_of(ends.join(["a", "", "b", " ", "c", ""]))
    assert [(line.number, line.text) for line in found.lines] == [(1, "a"), (3, "b"), (5, "c")]
    assert (found.cut, found.notes) == (False, ())


def test_mixed_line_ends_are_noted():
    assert lines_of("a\r\nb\nc\r\n").notes == ("mixed line ends: 2 CRLF, 1 LF",)


def test_headings_that_span_lines():
    grid = split("log.csv", b'"Drive\n(V)","Frequency\n(MHz)"\n1,46\n2,51\n')
    assert grid.header.cells == ("Drive (V)", "Frequency (MHz)")
    assert [row.line for row in grid.rows] == [4, 5]


@pytest.mark.parametrize("text", ['5" tube', 'tube of 5", old', '# the "lid'])
def test_a_stray_quotation_mark_above_the_headings(text):
    grid = split("log.csv", f"{text}\ndrive_v,frequency_mhz\n1,46\n2,51\n".encode())
    assert len(grid.rows) == 2
    assert grid.preamble[0].text == text


def test_quotation_marks_that_never_close():
    with pytest.raises(ReadingError, match=r"log.csv:3: quotation marks that do not close.*skip_lines = \{ 3 = "):
        split("log.csv", b'drive_v,label\n1,"B"\n2,"two\n3,"D"x\n')


def test_ditto_marks_are_cells():
    assert dittos_of('2,",46.1', "comma") == ("2", '"', "46.1")
    grid = split("log.csv", b'drive_v,frequency_mhz,supply_v\n1,46,12\n2,51,"\n3,",12\n')
    assert [row.cells for row in grid.rows] == [("1", "46", "12"), ("2", "51", '"'), ("3", '"', "12")]


@pytest.mark.parametrize(
    ("text", "separator", "cells"),
    [
        ("1.5;2", "semicolon", ("1.5", "2")),
        ("1.5\t\t2 ", "tab", ("1.5", "", "2")),
        ("| 1.5 | 2 |", "bar", ("", "1.5", "2", "")),
        ("  1.5   2", "blanks", ("1.5", "2")),
        ('"two words"  2', "blanks", ("two words", "2")),
        ("64 228.5 kHz   412 mV", WIDE, ("64 228.5 kHz", "412 mV")),
    ],
)
def test_cells(text, separator, cells):
    assert cells_of(text, separator) == cells


@pytest.mark.parametrize("text", ["# lid open", "% lid open", "// lid open", "; lid open", "#lid open"])
def test_comment_marks(text):
    assert comment_of(text, "comma") == "lid open"


@pytest.mark.parametrize("text", [";1.5;2", "1.5 # 2", "/ 2", "lid open"])
def test_no_comments(text):
    assert comment_of(text, "comma") is None


def test_comments_among_the_readings_are_noted():
    grid = split("log.csv", b"# first\ndrive_v,frequency_mhz\n1,46\n# lid open\n2,51\n")
    assert grid.notes == ("comments among the readings passed over: line 4",)
    assert grid.preamble[0].cells == ("first",)


@pytest.mark.parametrize(("end", "flagged"), [("", [3]), ("\n", []), ("\n# end", []), ("\nMean,48", [])])
def test_a_last_line_without_its_end_is_flagged(end, flagged):
    grid = split("log.csv", f"drive_v,frequency_mhz\n1,46\n2,50{end}".encode())
    assert [row.line for row in grid.flagged] == flagged
    assert [row.cells for row in grid.rows] == [("1", "46"), ("2", "50")]


@pytest.mark.parametrize("text", ["1.0,45.783 #N/A", "1.0\t45.783\t# kicked", "1.0,45.783, # kicked", "1.0,45.783 #2"])
def test_no_remark_but_a_cell(text):
    assert without_remark(Line(3, text)) == (Line(3, text), "")


def test_a_note_between_blanks_is_a_cell():
    grid = split("log.txt", b"Drive (V)   Counter (MHz)   Note\n1.0   45.783   # a\n2.0   50.541   # b\n")
    assert [row.cells[2] for row in grid.rows] == ["# a", "# b"]
    assert grid.flagged == ()
