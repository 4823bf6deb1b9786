"""Columns of stamps: one meaning each, from published examples, and a refusal where two are possible.

Sources: RFC 3339 section 5.8 (examples of stamps); ISO 8601-1:2019 (forms of 12 April 1985, from memory), the end
of the day as 24:00 in its Amendment 1:2022 (from memory). Seconds between two stamps are those of ``datetime``.
"""

import math
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import ReadingError
from aotf_lab.reading.cells.marks import is_ditto, missing_mark
from aotf_lab.reading.clock.stamps import counted_seconds, is_clock, seconds_of


def place(row):
    return f"log.csv:{row + 2}, column 'Time'"


def clock(*cells, **stated):
    return seconds_of(cells, place, **stated)


@pytest.mark.parametrize(
    ("cell", "instant"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000, UTC)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57, 0, UTC)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000, UTC)),
    ],
)
def test_examples_of_rfc_3339(cell, instant):
    assert clock(cell).start == instant


def test_leap_seconds_of_rfc_3339_are_one_instant_and_flagged():
    both = clock("1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00")
    assert both.time_s.tolist() == [0.0, 0.0]
    assert all("leap second" in why for why in both.flagged)


@pytest.mark.parametrize(
    "cell",
    [
        "1985-04-12T10:15:30", "19850412T101530", "1985-102T10:15:30", "1985-W15-5T10:15:30", "1985W155T10:15:30",
        "1985-04-12 10:15:30", "1985-04-12T10:15:30,0",
    ],
)  # fmt: skip
def test_forms_of_iso_8601(cell):
    assert clock(cell).start == datetime(1985, 4, 12, 10, 15, 30)


def test_zone_of_iso_8601_and_end_of_day():
    assert clock("19850412T101530+0400").start == datetime(1985, 4, 12, 10, 15, 30, 0, timezone(timedelta(hours=4)))
    assert clock("1985-04-12T24:00:00", "1985-04-13T00:00:10").time_s.tolist() == [0.0, 10.0]


@pytest.mark.parametrize(
    "cell",
    [
        "29.03.2026 14:03:05", "29/03/2026 14:03:05", "3/29/2026 2:03:05 PM", "29-Mar-26 14:03:05",
        "Mar 29, 2026 2:03:05 p.m.", "Sun Mar 29 14:03:05 2026", "Sun, 29 Mar 2026 14:03:05", "2026/03/29 14:03:05",
        "14:03:05 29.03.2026", "2026.3.29 14:03:05", "20260329_140305",
    ],
)  # fmt: skip
def test_one_moment_in_many_spellings(cell):
    assert clock(cell).start == datetime(2026, 3, 29, 14, 3, 5)


@pytest.mark.parametrize(
    ("cells", "time_s"),
    [
        (("00:12:03.5", "00:12:04,25"), [0.0, 0.75]),
        (("12:03.5", "12:04.25"), [0.0, 0.75]),
        (("59:59", "1:00:01"), [0.0, 2.0]),
        (("1d 02:03:04", "1 day, 02:03:05", "2.00:00:00"), [0.0, 1.0, 79016.0]),
        (("5m30s", "1h 2 min 3,5 s"), [0.0, 3393.5]),
        (("23:59:50", "24:00:10"), [0.0, 20.0]),
        (("1774792985,5", "1774792986,0"), [0.0, 0.5]),
        (("1774792985123", "1774792986124"), [0.0, 1.001]),
        (("11:59:59 AM", "12:00:00 PM", "12:59:59 PM", "1:00:00 PM"), [0.0, 1.0, 3600.0, 3601.0]),
        (("14:03:05", '"', "14:03:07"), [0.0, 0.0, 2.0]),
    ],
)
def test_seconds_from_the_first_reading(cells, time_s):
    assert clock(*cells).time_s.tolist() == time_s


def test_unix_time_starts_in_utc():
    read = clock("1774792985", "1774792986")
    assert read.start == datetime.fromtimestamp(1774792985, UTC)
    assert "Unix time in seconds" in read.notes[0]


def test_fractions_are_exact_to_the_ns():
    assert clock("14:03:05.100000001", "14:03:05.2").time_s[1] == 0.099999999


def test_rows_without_a_time():
    read = clock("14:03:05", "", "OVER", "14:03:07?")
    assert np.isnan(read.time_s).tolist() == [False, True, True, False]
    assert read.rejected == ("", "", "over-range mark 'OVER'", "")
    assert read.flagged == ("", "no time", "", "time in doubt: '14:03:07?'")


def test_no_stamp_at_all_gives_no_time():
    assert np.isnan(clock("", "---").time_s).all()


@pytest.mark.parametrize("cell", ["64.2285", "12,5", "1e9", "", "OVER", "12:", "٢٩.٠٣.٢٠٢٦ 14:03:05", "412 mV", "inf"])
def test_is_no_clock(cell):
    assert not is_clock(cell)


@pytest.mark.parametrize("cell", ["2026-03-29", "25:61:00", "12:03", "1774792985", "30.02.2026 10:00"])
def test_is_a_clock(cell):
    assert is_clock(cell)


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        (("noon",), r"log\.csv:2, column 'Time': text in a column of times; found 'noon'"),
        (("14:03:05", "14:61:05"), r"log\.csv:3, .*does not exist: minute 61; found '14:61:05'.*skip_lines = \{ 3 = "),
        (("2026-02-30 10:00:00",), "does not exist: day is out of range for month"),
        (("2026-03-29 25:00:00",), "does not exist: hour 25"),
        (("13:00 PM",), "does not exist: hour 13 with AM or PM"),
        (("Mon 29 Mar 2026 10:00",), "2026-03-29 is another day of the week"),
        (("1:02:03:04",), "fields that are neither"),
        (("2026-03-29",), "a date without a time of day"),
        (("2026-03-29 10:00:00", "10:00:01"), r"log\.csv:3.*two kinds of stamps.*found time without a date.*\{ 3 = "),
        (("2026-03-29T10:00:00Z", "2026-03-29T10:00:01"), "two kinds of stamps"),
        (("1774792985", "1774792985123"), "found Unix time in milliseconds"),
        (("12:03", "12:04"), "may be h:mm or mm:ss, a factor of 60 apart; found 12:03"),
        (("10:00:00 AM", "25:00:00"), r"times of day and counted times.*\{ 3 = "),
        (("03/04/2026 10:00", "05/04/2026 10:00"), r"log\.csv:3.*day first or month first.*state date_order"),
        (("31/04/2026 10:00", "01/05/2026 10:00"), r"log\.csv:2.*no such date.*found '31/04/2026'"),
        (("29/03/2026 10:00", "03/29/2026 10:00"), "no such date"),
    ],
)
def test_refused(cells, message):
    with pytest.raises(ReadingError, match=message):
        clock(*cells)


def test_stated_order_of_dates():
    cells = ("03/04/2026 10:00:00", "05/04/2026 10:00:00")
    assert clock(*cells, date_order="day first").time_s[1] == 2 * 86400
    assert clock(*cells, date_order="month first").time_s[1] == 61 * 86400
    with pytest.raises(ReadingError, match=r"log\.csv:2.*no such date in month first; found '29/03/2026'"):
        clock("29/03/2026 10:00", date_order="month first")


def test_stated_form_of_two_fields():
    assert clock("12:03", "12:04", form="hh:mm").time_s[1] == 60.0
    assert clock("12:03", "12:04", form="mm:ss").time_s[1] == 1.0
    with pytest.raises(ReadingError, match=r"decimals after h:mm; found 12:03\.5"):
        clock("12:03.5", form="hh:mm")


def test_order_open_but_elapsed_time_certain():
    read = clock("03/04/2026 10:00:00", "03/04/2026 10:00:10")
    assert read.time_s.tolist() == [0.0, 10.0]
    assert read.start is None
    assert "day first or month first" in read.notes[0]


def test_a_day_above_twelve_decides_for_the_whole_column():
    read = clock("03/12/2026 23:00:00", "03/13/2026 01:00:00")
    assert read.time_s[1] == 7200.0
    assert "month first: no date day first at log.csv:3" in read.notes[0]


def test_the_regular_step_over_midnight_decides():
    day = [f"03/04/2026 23:59:{s}" for s in (20, 30, 40, 50)] + ["04/04/2026 00:00:00"]
    assert clock(*day).start == datetime(2026, 4, 3, 23, 59, 20)
    month = [c.replace("03/04", "04/03") for c in day]
    assert clock(*month).start == datetime(2026, 4, 3, 23, 59, 20)


STEP_MS = st.integers(1, 5_000_000)
FORMS = {
    "iso": lambda t: t.isoformat(timespec="milliseconds"),
    "iso blank": lambda t: t.strftime("%Y-%m-%d %H:%M:%S,") + f"{t.microsecond // 1000:03d}",
    "utc": lambda t: t.isoformat(timespec="milliseconds") + "Z",
    "offset": lambda t: t.isoformat(timespec="milliseconds") + "+05:30",
    "stops": lambda t: t.strftime("%d.%m.%Y %H:%M:%S.") + f"{t.microsecond // 1000:03d}",
    "month name": lambda t: t.strftime("%d %b %Y %H:%M:%S.") + f"{t.microsecond // 1000:03d}",
    "basic": lambda t: t.strftime("%Y%m%dT%H%M%S.") + f"{t.microsecond // 1000:03d}",
    "half days": lambda t: t.strftime("%Y/%m/%d %I:%M:%S.") + f"{t.microsecond // 1000:03d}" + t.strftime(" %p"),
    "epoch": lambda t: f"{(t - datetime(1970, 1, 1)) // timedelta(milliseconds=1):013d}",
    "slashes": lambda t: t.strftime("%d/%m/%Y %H:%M:%S.") + f"{t.microsecond // 1000:03d}",
    "us": lambda t: t.strftime("%m/%d/%Y %I:%M:%S.") + f"{t.microsecond // 1000:03d}" + t.strftime(" %p"),
}


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(sorted(FORMS)), st.integers(1_000_000_000, 4_000_000_000), st.lists(STEP_MS, max_size=8))
def test_every_form_gives_its_time_back_or_says_why_not(form, second, steps_ms):
    moments = [datetime(1970, 1, 1) + timedelta(seconds=second)]
    for step in steps_ms:
        moments.append(moments[-1] + timedelta(milliseconds=step))
    true_s = [(m - moments[0]) / timedelta(seconds=1) for m in moments]
    try:
        read = clock(*map(FORMS[form], moments))
    except ReadingError as error:
        if form not in ("slashes", "us") or "day first or month first" not in error.what:
            raise
        read = clock(*map(FORMS[form], moments), date_order="day first" if form == "slashes" else "month first")
    right = read.time_s.tolist() == pytest.approx(true_s, abs=1e-9)
    assert right or any(read.flagged)
    if read.start is not None:
        assert read.start.replace(tzinfo=None) == moments[0]


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 86_399), st.lists(st.integers(1, 600), min_size=4, max_size=40))
def test_time_of_day_passes_midnight(second, steps):
    true_s = np.concatenate([[0], np.cumsum(steps)])
    cells = [str(datetime(2000, 1, 1) + timedelta(seconds=int(second + t)))[11:] for t in true_s]
    read = clock(*cells)
    wrong = read.time_s != true_s
    assert not wrong.any() or any(read.flagged)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="0123456789:.,-/ TZAPM+d?", max_size=24))
def test_any_cell_is_read_or_refused_with_its_line(cell):
    try:
        read = clock("2026-03-29T14:03:05", cell)
    except ReadingError as error:
        if "log.csv:3" not in error.where:
            raise
        return
    if is_ditto(cell):
        assert read.time_s[1] == 0.0
        return
    if math.isnan(read.time_s[1]):
        assert missing_mark(cell.strip())
        return
    held = datetime.fromisoformat(cell.strip().rstrip("? ").replace("/", "-").replace(",", "."))
    assert read.time_s[1] == (held - read.start) / timedelta(seconds=1)


@settings(max_examples=600, deadline=None)
@given(st.integers(0, 18), st.sampled_from("0123456789-:T .,/"), st.integers(0, 3))
def test_one_character_changed_is_read_as_datetime_reads_it_or_refused(at, character, row):
    cells = [f"2026-03-1{day}T14:0{day}:0{day}" for day in range(4)]
    cells[row] = cells[row][:at] + character + cells[row][at + 1 :]
    try:
        read = clock(*cells)
    except ReadingError as error:
        if "log.csv:" not in error.where:
            raise
        return
    day_ends = [("T24:00:00" in cell, cell.replace("T24", "T00")) for cell in cells]  # new in ISO 8601, not in datetime
    held = [datetime.fromisoformat(cell) + timedelta(days=ends) for ends, cell in day_ends]
    assert read.time_s.tolist() == [(h - held[0]) / timedelta(seconds=1) for h in held]


def test_plain_seconds_stay_as_they_are():
    time_s = np.array([12.5, 13.0, np.nan, 14.0])
    read = counted_seconds(time_s, place)
    assert read.time_s.tobytes() == time_s.tobytes()
    assert read.segments == ((0, 4),)
