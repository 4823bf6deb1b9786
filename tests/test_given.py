"""What a caller gave is taken as it is, or refused with what was asked for."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

import aotf_lab
from aotf_lab.errors import AotfLabError, RecordError
from aotf_lab.given import given, given_day, given_list, given_number, given_numbers, given_path, given_table


@pytest.mark.parametrize(
    "day", [date(2031, 3, 2), datetime(2031, 3, 2, 23, 59), pd.Timestamp("2031-03-02 12:00"), "2031-03-02"]
)
def test_a_day_is_a_date_or_its_iso_text(day):
    """ISO 8601-1:2019, calendar date in extended format."""
    assert given_day(day, "measured") == "2031-03-02"


@pytest.mark.parametrize(
    "day", ["20310302", "2.3.2031", "2031-02-30", "2031-3-2", "", 20310302, None, ["2031-03-02"], pd.NaT]
)
def test_what_is_no_day(day):
    with pytest.raises(RecordError, match=r"measured: a date that is none; found .*; allowed: year-month-day, such as"):
        given_day(day, "measured")


@pytest.mark.parametrize("number", [3, 3.0, np.float64(3), np.float32(3), np.int16(3), Fraction(3)])
def test_numbers_of_every_kind(number):
    found = given_number(number, "step", "V", above=0)
    assert found == 3.0
    assert type(found) is float


def test_a_number_with_u_keeps_its_u_where_it_may_have_one():
    power = ufloat(0.3, 0.01)
    assert given_number(power, "rf_power_w", "W", with_u=True) is power
    with pytest.raises(AotfLabError, match=r"step of another kind.* without an uncertainty; give .* step\.n"):
        given_number(power, "step")
    with pytest.raises(AotfLabError, match="u of step out of bounds; found nan"):
        given_number(ufloat(1.0, float("nan")), "step", with_u=True)


@pytest.mark.parametrize("value", ["3", [3.0], np.array([3.0]), None, True, {}])
def test_what_is_no_number(value):
    with pytest.raises(AotfLabError, match=r"step of another kind; found .*; allowed: a finite number above 0 \(V\)"):
        given_number(value, "step", "V", above=0)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_number_out_of_bounds(value):
    with pytest.raises(AotfLabError, match=r"step out of bounds; found .*; allowed: a finite number above 0; correct"):
        given_number(value, "step", above=0)


def test_a_whole_number():
    assert type(given_number(2.0, "jobs", whole=True)) is int
    with pytest.raises(AotfLabError, match=r"jobs out of bounds; found 1.5; allowed: a whole number, 1 or more"):
        given_number(1.5, "jobs", at_least=1, whole=True)
    with pytest.raises(AotfLabError, match=r"jobs out of bounds; found inf; allowed: a whole number"):
        given_number(float("inf"), "jobs", whole=True)


def test_several_numbers():
    assert given_numbers(pd.Series([1.0, 2.0]), "values") == [1.0, 2.0]
    assert given_numbers(np.array([1.0]), "values") == [1.0]
    with pytest.raises(AotfLabError, match=r"values of another kind; found 3; allowed: plain numbers in a list"):
        given_numbers(3.0, "values")
    with pytest.raises(AotfLabError, match=r"one of values of another kind; found 1\.0.*; allowed: a number"):
        given_numbers([ufloat(1.0, 0.1)], "values")
    with pytest.raises(AotfLabError, match="one of values of another kind; found True; allowed: a number"):
        given_numbers([True], "values")


@pytest.mark.parametrize(
    ("typed", "shown"),
    [(5, "5"), (5.0, "5"), (-0.25, "-0.25"), (1e22, "1e+22"), (np.float64(60), "60"), ("5.0", "'5.0'")],
)
def test_an_error_shows_a_number_as_it_was_typed(typed, shown):
    assert f"; found {shown}; " in str(AotfLabError("step", found=typed, allowed="less", cure="state it"))


def test_one_for_several():
    assert given_list(["a"], "lines", "names", "list them") == ["a"]
    for one in ("a", Path("a"), b"a", 3, None, np.array(3.0)):
        with pytest.raises(AotfLabError, match=r"lines of another kind; found .*; allowed: names; list them"):
            given_list(one, "lines", "names", "list them")


def test_other_kinds_are_named_and_not_printed():
    with pytest.raises(AotfLabError, match="folder of another kind; found a table of names; allowed: a path; name it"):
        given_path({"a": 1}, "folder", "a path", "name it")
    with pytest.raises(AotfLabError, match="found an object of the kind DataFrame; allowed: a table of names"):
        given_table(pd.DataFrame({"a": range(1000)}), "stored", "a table of names", "write one")
    with pytest.raises(AotfLabError, match="session of another kind; found '/bench'; allowed: an open session"):
        given(Path("/bench"), dict, "session", "an open session", "open it")


@pytest.mark.parametrize(("name", "shown"), [("a\0b", r"a\\x00b"), ("a\udfff", r"a\\udfff")])
def test_a_path_that_no_file_can_have(name, shown):
    """POSIX.1-2017 (from memory): a pathname holds no null byte; UTF-8 (RFC 3629, 3) has no half surrogates."""
    with pytest.raises(
        AotfLabError, match=f"folder: a character that no path can have; found '{shown}'; allowed: a path; leave that"
    ):
        given_path(name, "folder", "a path", "name it")
    with pytest.raises(AotfLabError, match="folder: a character that no path can have"):
        given_path(Path(name), "folder", "a path", "name it")
    with pytest.raises(AotfLabError, match="folder: a character that no path can have"):
        aotf_lab.open_session(name)


def test_a_comparison_says_it_in_the_row_of_that_folder():
    found = aotf_lab.compare(["a\0b"], jobs=1, progress=False)
    assert found.rows[0].reason.startswith("folder: a character that no path can have; found")
