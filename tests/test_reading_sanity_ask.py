"""All causes at once: nothing in good files, each fault under one name, places and rows of joined files."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.reading import join_readings, read_scope_levels, read_table
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity import Suspicion, suspicions, suspicions_between
from aotf_lab.simulate import simulate_session

KEPT_FAULTS = {"vco_cold.csv": ["counts doubled"]}
"""What the demo's story puts into its files on purpose."""


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    folder = simulate_session(tmp_path_factory.mktemp("bench") / "s", 4)
    return {p.name: p for p in sorted(folder.glob("*.csv")) if p.name != "vco_cold.csv"}


def read(path):
    return (read_scope_levels if path.name.startswith(("level", "supply")) else read_table)(path)


def test_a_good_session_is_not_suspected(session):
    files = {name: read(path) for name, path in session.items()}
    for name, readings in files.items():
        assert [s.what for s in suspicions(readings, supply_a=0.5)] == KEPT_FAULTS.get(name, []), name
    assert suspicions_between(files) == ()


def test_one_fault_bears_one_name_and_its_lines(session):
    readings = read(session["vco_warm.csv"])
    table = readings.table.copy()
    table.loc[12:15, "frequency_mhz"] *= 2
    (found,) = suspicions(Readings(table, sources=readings.sources))
    assert found.what == "counts doubled"
    assert str(found).startswith("vco_warm.csv:15-18: counts doubled; found 2")


def test_rows_count_in_the_joined_table(session):
    parts = [read(session[name]) for name in ("scan_B_up.csv", "scan_B_down.csv")]
    table = parts[1].table.copy()
    table.loc[3, "optical_power_mw"] *= 1e4
    joined = join_readings([parts[0], Readings(table, (), parts[1].receipts, parts[1].sources)])
    (found,) = suspicions(joined)
    assert found.rows == (len(parts[0].table) + 3,)
    assert found.where == f"scan_B_down.csv:{table['line'].iloc[3]}"


def test_the_same_file_under_two_names(session):
    readings = read(session["scan_B_up.csv"])
    (found,) = suspicions_between({"up.csv": readings, "down.csv": readings})
    assert found.where == "up.csv and down.csv"


def test_facts_are_handed_to_the_causes():
    drive = np.linspace(0.0, 12.0, 25)
    shown = np.abs(42.0 + 4.0 * drive - 130.0 * np.round((42.0 + 4.0 * drive) / 130.0))
    table = pd.DataFrame({"drive_v": drive, "frequency_mhz": shown})
    (found,) = suspicions(Readings(table), sample_rate_mhz=130.0)
    assert found.what == "the frequency is an alias"
    power = pd.DataFrame({"supply_v": [8.0], "rf_power_w": [3.0]})
    assert suspicions(Readings(power)) == ()
    (found,) = suspicions(Readings(power), supply_a=0.1)
    assert found.what == "RF power above the amplifier's DC input"


@pytest.mark.parametrize("rows", [0, 1, 5, 30])
@pytest.mark.parametrize("value", [0.0, -1.0, 1e300, 1e-300, float("nan"), float("inf"), 45750.0])
def test_no_table_is_too_odd_to_be_asked(rows, value):
    columns = ("time_s", "drive_v", "frequency_mhz", "optical_power_mw", "rf_power_w", "rf_level_vrms", "supply_v",
               "temperature_c", "wavelength_air_nm")  # fmt: skip
    table = pd.DataFrame({c: np.arange(rows) + 1.0 for c in columns})
    table.loc[table.index[::3], :] = value
    for readings in (Readings(table), Readings(table.assign(file="a.csv", line=1))):
        for found in suspicions(readings, supply_a=0.2, sample_rate_mhz=100.0, material="TeO2"):
            assert isinstance(found, Suspicion)
            assert all(0 <= r < rows for r in found.rows)
    assert isinstance(suspicions_between({"a": Readings(table), "b": Readings(table[::2])}), tuple)


def test_tables_without_their_names():
    with pytest.raises(AotfLabError, match="named of another kind; found a list; allowed: names and readings; write"):
        suspicions_between([Readings(pd.DataFrame({"drive_v": [1.0]}))])
