"""A slip in the year of a session is told by the times of its raw files, where these times tell anything."""

from __future__ import annotations

import os
from datetime import date, datetime

import pytest

from aotf_lab.reading.session_day import late_day, newest_day


def written(path, *day):
    path.write_text("")
    noon = datetime(*day, 12).timestamp()
    os.utime(path, (noon, noon))
    return path


def test_the_newest_file_counts(tmp_path):
    files = [written(tmp_path / "a", 2026, 3, 2), written(tmp_path / "b", 2024, 1, 1)]
    assert newest_day(files) == date(2026, 3, 2)
    assert late_day("2062-03-02", files).startswith(
        "the date 2062-03-02 lies 36 years after the newest raw file, of 20"
    )
    assert late_day("2031-03-02", files) == ""


def test_no_file_tells_nothing():
    assert newest_day([]) is None
    assert late_day("2062-03-02", []) == ""


@pytest.mark.parametrize("day", [(1970, 1, 1), (1980, 1, 1), (2000, 1, 1)])
def test_a_clock_that_starts_at_zero_makes_no_slip_of_a_true_date(tmp_path, day):
    assert late_day("2026-03-02", [written(tmp_path / "scope.csv", *day)]) == ""
