"""Files used twice, blocks and rows that stand twice, and time in the wrong order."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.clock_order import disordered_time
from aotf_lab.reading.sanity.copied_rows import copied_rows
from aotf_lab.reading.sanity.same_file import same_readings
from aotf_lab.reading.source import SourceFile


def table(seed: int, rows: int = 30) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    frequency = 64.0 + 0.034 * np.arange(rows) + 0.004 * rng.standard_normal(rows)
    light = np.sinc((np.arange(rows) - 14) / 8.0) ** 2 + 0.002 * rng.standard_normal(rows)
    return pd.DataFrame(
        {"time_s": 0.5 * np.arange(rows), "frequency_mhz": frequency.round(4), "optical_power_mw": light.round(4)}
    )


def file(bare: pd.DataFrame, name: str = "a.csv", digest: str = "") -> Readings:
    named = bare.reset_index(drop=True).assign(file=name, line=np.arange(len(bare)) + 3)
    return Readings(named, sources=(SourceFile(name, digest or name, 1),))


def test_equal_hashes_are_one_file():
    (found,) = same_readings(file(table(1), "a.csv", "ab12"), file(table(1), "b.csv", "ab12"), ("a.csv", "b.csv"))
    assert found.what == "the same file is used twice"
    assert found.where == "a.csv and b.csv"


def test_equal_readings_under_another_name_and_with_other_times():
    (found,) = same_readings(file(table(1)), file(table(1).assign(time_s=7.0 + np.arange(30)), "b.csv"))
    assert found.what == "two files hold the same readings"


def test_a_block_of_one_file_in_another():
    other = table(2)
    other.loc[10:14, ["frequency_mhz", "optical_power_mw"]] = table(1).loc[3:7, ["frequency_mhz", "optical_power_mw"]]
    other = other.copy()
    other.iloc[10:15, 1:] = table(1).iloc[3:8, 1:].to_numpy()
    (found,) = same_readings(file(table(1)), file(other, "b.csv"), comparisons=100)
    assert found.rows == tuple(range(10, 15))
    assert found.where == "b.csv:13-17 and a.csv:6-10"


def test_files_measured_at_the_same_settings_are_two():
    grid = 64.0 + 0.034 * np.arange(30)
    one, two = (table(k).assign(frequency_mhz=grid.round(4), supply_v=8.0, dark_power_mw=0.0023) for k in (1, 2))
    assert same_readings(file(one), file(two, "b.csv")) == ()


def test_rows_pasted_again():
    pasted = pd.concat([table(1), table(1).iloc[4:7]], ignore_index=True)
    (found,) = copied_rows(file(pasted))
    assert found.rows == (30, 31, 32)
    assert found.where == "a.csv:33-35"
    assert "equal to a.csv:7-9" in found.found
    assert found.found.endswith("and time")
    (found,) = copied_rows(file(pasted.drop(columns="time_s")))
    assert found.rows == (30, 31, 32)


def test_one_row_written_twice_counts_with_its_time_only():
    twice = pd.concat([table(1).iloc[:9], table(1).iloc[8:]], ignore_index=True)
    (found,) = copied_rows(file(twice))
    assert found.rows == (9,)
    assert copied_rows(file(twice.drop(columns=["time_s", "frequency_mhz"]))) == ()


def test_a_logger_faster_than_its_meters_copies_nothing():
    slow = table(1).iloc[np.repeat(np.arange(30), 4)].assign(time_s=0.1 * np.arange(120))
    assert copied_rows(file(slow)) == ()


def test_settings_that_repeat_are_no_copies():
    visits = pd.DataFrame({"drive_v": np.tile([1.0, 2.0, 3.0], 10), "supply_v": 8.0})
    assert copied_rows(file(visits)) == ()


def test_time_reversed_stepping_back_and_standing_twice():
    good = table(1)
    assert disordered_time(file(good)) == ()
    (found,) = disordered_time(file(good.iloc[::-1]))
    assert found.what == "time runs backwards from the first row to the last"
    assert found.unusable
    (found,) = disordered_time(file(pd.concat([good, good])))
    assert (found.what, found.where, found.rows) == ("time steps back", "a.csv:33", (30,))
    (found,) = disordered_time(file(good.assign(time_s=good["time_s"].replace(5.5, 5.0))))
    assert (found.what, found.rows) == ("a time stands twice", (11,))


def test_a_coarse_clock_and_gaps_are_no_disorder():
    good = table(1)
    assert disordered_time(file(good.assign(time_s=np.floor(good["time_s"])))) == ()
    assert disordered_time(file(good.assign(time_s=good["time_s"].where(good.index % 3 == 0)))) == ()
    assert disordered_time(replace(file(good), table=good.drop(columns="time_s"))) == ()
