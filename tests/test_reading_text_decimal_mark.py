"""Decimal and thousands marks. The decimal marker is a point or a comma, and digits may be grouped in threes by a
thin space: BIPM, The International System of Units, 9th ed. (2019), 5.4.4. Other groupings are common practice."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.layout import Layout
from aotf_lab.reading.text.split import split


def form_of(*cells, layout=None):
    text = "Drive (V);Counter (kHz)\n" + "".join(f"{i},5;{cell}\n" for i, cell in enumerate(cells))
    return split("log.csv", text.encode(), layout or Layout()).form


def column_form(*cells, layout=None):
    text = "Reading;Counter\n" + "".join(f"{i};{cell}\n" for i, cell in enumerate(cells))
    return split("log.csv", text.encode(), layout or Layout()).form


@pytest.mark.parametrize(
    ("cells", "mark", "thousands"),
    [
        (("1,25", "2,5"), ",", ""),
        (("1.25", "2.5"), ".", ""),
        (("1.234,5", "2,5"), ",", "."),
        (("1,234.5", "2.5"), ".", ","),
        (("1,234,567", "2,345,678"), ".", ","),
        (("1.234.567", "64.228"), ",", "."),
        (("64 228 500", "1"), ".", " "),
        (("64\u00a0228,5", "1"), ",", "\u00a0"),
        (("43\u2009279,5", "1"), ",", "\u2009"),
        (("43\u202f279.5", "1"), ".", "\u202f"),
        (("43'279.5", "43\u2019279.5"), ".", "'\u2019"),
        (("\u22121,25", "+2,5 mV"), ",", ""),
        (("64.228", "1"), ".", ""),
        (("0,250", "1"), ",", ""),
        (("1.250e3", "1"), ".", ""),
        (("02.05.2031", "1,5"), ",", ""),
        (("12:00:01,250", "1.5"), ".", ""),
        (("4. Feb", "1,5"), ",", ""),
        (("7", "8"), ".", ""),
    ],
)
def test_the_cells_decide(cells, mark, thousands):
    form = column_form(*cells)
    assert (form.decimal_mark, form.thousands_marks) == (mark, thousands)
    assert form.decimal_evidence


def test_quoted_commas_between_commas_group_thousands():
    form = split("log.csv", b'Drive (V),Counter (kHz)\n1.5,"64,228.5"\n2.5,"64,229.5"\n').form
    assert (form.decimal_mark, form.thousands_marks) == (".", ",")


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        (("1,234", "2,345"), r"log.csv:2: decimal mark in doubt: every comma could group thousands; found '1,234'"),
        (("1,25", "2.5"), r"log.csv:3: decimal mark in doubt: points as well as commas in numbers; found '2.5'"),
        (("1,234", "2.345"), r"log.csv:3: .*points as well as commas in numbers; found '2.345'.*thousands_mark"),
    ],
)
def test_doubt_asks_for_the_layout(cells, message):
    with pytest.raises(ReadingError, match=message):
        column_form(*cells)


def test_points_that_could_group_thousands_below_decimal_commas():
    with pytest.raises(ReadingError, match=r"log.csv:2: .*points as well as commas.*found '64.228'.*decimal_mark = \""):
        form_of("64.228", "64.229")


@pytest.mark.parametrize(
    ("layout", "mark", "thousands"),
    [
        (Layout(decimal_mark=","), ",", ""),
        (Layout(decimal_mark="."), ".", ","),
        (Layout(thousands_mark=","), ".", ","),
        (Layout(thousands_mark=""), ",", ""),
    ],
)
def test_the_layout_settles_every_comma(layout, mark, thousands):
    form = column_form("1,234", "2,345", layout=layout)
    assert (form.decimal_mark, form.thousands_marks) == (mark, thousands)


def test_a_stated_decimal_comma_leaves_points_to_the_thousands():
    assert form_of("64.228", "64.229", layout=Layout(decimal_mark=",")).thousands_marks == "."


def test_a_stated_decimal_comma_lets_no_lone_point_group_thousands():
    assert form_of("45,783", "54.902", layout=Layout(decimal_mark=",")).thousands_marks == ""
    assert form_of("45,783", "54.902", layout=Layout(decimal_mark=",", thousands_mark=".")).thousands_marks == "."
    assert form_of("45,783", "1.254.902", layout=Layout(decimal_mark=",")).thousands_marks == "."


def test_a_point_that_groups_in_one_column_may_be_decimal_in_another():
    text = "Drive (V);Counter (Hz)\n1.000;45.783.012\n1.500;48.230.440\n"
    with pytest.raises(ReadingError, match=r"log.csv:2: .*group thousands in another column.*found '1.000'"):
        split("log.csv", text.encode())
    stated = split("log.csv", text.encode(), Layout(decimal_mark=",")).form
    assert stated.thousands_marks == "."


def test_a_setting_with_a_unit_settles_every_comma():
    text = "Version;{}\nScale;2,44 mV/count\nDrive (counts);Counter (MHz)\n2459;45,783\n2869;50,541\n"
    form = split("log.csv", text.format("2.4").encode()).form
    assert (form.decimal_mark, form.decimal_evidence) == (",", "decimal commas, as in '2,44 mV/count' in line 2")


def test_a_list_above_the_headings_settles_nothing():
    with pytest.raises(ReadingError, match=r"log.csv:3: decimal mark in doubt: every comma could group thousands"):
        split("log.csv", b"Channels;1,2\nDrive (counts);Counter (MHz)\n2459;45,783\n2869;50,541\n")


@pytest.mark.parametrize("layout", [Layout(decimal_mark="'"), Layout(thousands_mark="_")])
def test_marks_that_cannot_be(layout):
    with pytest.raises(
        ReadingError, match=r"log.csv, layout: a (decimal|thousands) mark that .*; found .['_].; allowed"
    ):
        column_form("1", "2", layout=layout)


def test_a_late_change_of_the_mark_is_found():
    cells = [f"{i}.5" for i in range(3000)] + ["7,25"]
    with pytest.raises(ReadingError, match=r"log.csv:2: decimal mark in doubt: points as well as commas"):
        column_form(*cells)
