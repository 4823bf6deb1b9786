"""Days of records: ISO 8601 calendar dates in the extended format, and nothing that only looks so."""

from __future__ import annotations

from datetime import date, datetime

import numpy as np
import pandas as pd
import pytest

from aotf_lab.errors import ReadingsError
from aotf_lab.record.drift.history import dates_of, history_of_table

DAY = date(2031, 3, 2)


@pytest.mark.parametrize(
    "day",
    [
        "2031-03-02", "2031-03-02T09:15", "2031-03-02 09:15:30", "2031-03-02T09:15+01:00", DAY,
        datetime(2031, 3, 2, 23, 59), pd.Timestamp("2031-03-02 09:15"), np.datetime64("2031-03-02T09:15"),
    ],
)  # fmt: skip
def test_a_day_is_taken_with_a_time_or_without(day):
    assert dates_of([day]) == (DAY,)


@pytest.mark.parametrize(
    "day",
    [
        "2031-03-02xyz", "2031-03-021", "2031-03-02T25:00", "2031-W09-7", "2031-W09-7T09:15", "20310302",
        "20310302T0915", "2031-02-30", "2031-03-2", "2.3.2031", "", None, np.nan, pd.NaT, np.datetime64("NaT"),
        20310302,
    ],
)  # fmt: skip
def test_what_is_no_day_is_refused(day):
    with pytest.raises(ReadingsError, match=r"date of record 2; found .*; allowed: year-month-day, such as 2031-03-02"):
        dates_of([DAY, day])


@pytest.mark.parametrize("as_dates", [False, True])
def test_a_table_takes_text_and_dates_alike(as_dates):
    days = pd.Series(["2031-03-02", "2031-05-20"])
    table = pd.DataFrame(
        {
            "date": pd.to_datetime(days) if as_dates else days,
            "temperature_c": 22.0,
            "frequency_mhz": [66.0, 66.1],
            "u_frequency_mhz": 0.01,
        }
    )
    assert history_of_table(table, "oscillator").dates == (DAY, date(2031, 5, 20))
    with pytest.raises(ReadingsError, match=r"date of record 2; found 'NaT'"):
        history_of_table(table.assign(date=pd.to_datetime(pd.Series(["2031-03-02", None]))), "oscillator")
