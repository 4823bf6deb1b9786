"""Meters that stand still or run out of range, and those that only look so."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.reading.readings import Readings
from aotf_lab.reading.sanity.frozen import frozen_meters
from aotf_lab.reading.sanity.saturated import saturated_meters
from aotf_lab.reading.sanity.scatter import chance_of_equal, resolution

STEPS = np.arange(41)


def scan(seed: int = 3, **columns: object) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    light = np.sinc((STEPS - 20) / 9.0) ** 2 + 0.003 + 0.001 * rng.standard_normal(41)
    frequency = 64.0 + 0.034 * STEPS + 0.004 * rng.standard_normal(41)
    table = pd.DataFrame({"frequency_mhz": frequency.round(4), "optical_power_mw": light.round(4), **columns})
    return table.assign(file="scan.csv", line=STEPS + 3)


@pytest.mark.parametrize("scatter", [2.0, 5.0, 20.0])
def test_chance_of_equal_readings_against_a_million_draws(scatter):
    # outside: pairs of normal readings rounded to whole steps, counted
    rng = np.random.default_rng(2)
    one, other = np.round(scatter * rng.standard_normal((2, 1_000_000)))
    assert chance_of_equal(one[:20_000]) == pytest.approx(np.mean(one == other), rel=0.25)


def test_resolution_is_the_last_digit():
    assert resolution(np.array([0.1234, 0.5, 0.25])) == 1e-4
    assert resolution(np.array([1200.0, 1300.0, 1900.0])) == 100.0
    assert resolution(np.full(5, 2.5)) == 0.0


def test_frozen_power_meter_while_the_scan_goes_on():
    table = scan()
    table.loc[12:19, "optical_power_mw"] = table["optical_power_mw"].iloc[12]
    (found,) = frozen_meters(Readings(table))
    assert found.rows == tuple(range(12, 20))
    assert found.what == "a frozen meter: optical power stands still"
    assert found.where == "scan.csv:15-22"
    assert found.unusable


@pytest.mark.parametrize("column", ["frequency_mhz", "drive_v"])
def test_frozen_counter_or_voltmeter_while_the_other_moves(column):
    drive = np.round(1.0 + 0.3 * STEPS + 0.01 * np.sin(STEPS), 4)
    table = pd.DataFrame({"drive_v": drive, "frequency_mhz": np.round(44 + 4 * drive - 0.05 * drive**2, 4)})
    assert frozen_meters(Readings(table)) == ()
    table.loc[20:26, column] = table[column].iloc[20]
    (found,) = frozen_meters(Readings(table))
    assert found.rows == tuple(range(20, 27))


def test_a_drive_that_stays_with_its_frequency_is_not_frozen():
    drive = np.concatenate([np.linspace(1, 6, 20), np.full(15, 6.0)])
    frequency = 44 + 4 * drive + 0.002 * np.sin(np.arange(35))
    assert frozen_meters(Readings(pd.DataFrame({"drive_v": drive, "frequency_mhz": frequency.round(4)}))) == ()


@pytest.mark.parametrize("decimals", [0, 1])
def test_a_coarse_thermometer_is_not_frozen(decimals):
    slow = 22.0 + 0.8 * (1 - np.exp(-STEPS / 15)) + 0.02 * np.random.default_rng(1).standard_normal(41)
    assert frozen_meters(Readings(scan().assign(temperature_c=slow.round(decimals)))) == ()


def test_a_dark_meter_before_the_light_comes_on_is_not_frozen():
    light = np.concatenate([np.full(30, 0.0023), 1.0 + 0.01 * np.random.default_rng(1).standard_normal(60)])
    table = pd.DataFrame({"time_s": np.arange(90.0), "optical_power_mw": light.round(4)})
    assert frozen_meters(Readings(table)) == ()


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_a_scan_cut_off_at_the_end_of_a_range(share):
    table = scan()
    top = round(share, 4)
    cut = np.flatnonzero(table["optical_power_mw"] > top)
    table["optical_power_mw"] = table["optical_power_mw"].clip(upper=top)
    (found,) = saturated_meters(Readings(table))
    assert found.rows == tuple(cut)
    assert found.what.startswith("over-range without a mark")
    assert frozen_meters(Readings(table)) == ()


@pytest.mark.parametrize("decimals", [1, 2, 3])
def test_a_flat_top_in_coarse_steps_is_not_cut_off(decimals):
    clean = pd.DataFrame({"optical_power_mw": (np.sinc((STEPS - 20) / 15.0) ** 2).round(decimals)})
    assert saturated_meters(Readings(clean)) == ()


def test_a_constant_column_is_neither():
    table = scan().assign(optical_power_mw=1.0, incident_power_mw=2.5, temperature_c=22.4)
    assert frozen_meters(Readings(table)) + saturated_meters(Readings(table)) == ()
