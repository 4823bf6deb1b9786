"""Readings that no curve can be drawn through are refused with the row, the value and the cure."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.driver import fit_vco
from aotf_lab.errors import ReadingsError
from tests.driver_oscillator import check, resonance_mhz, run, there_and_back


def test_empty_table():
    with pytest.raises(ReadingsError, match=r"no readings at all; found 0; allowed: at least one row"):
        fit_vco(run().head(0))


def test_missing_column():
    with pytest.raises(ReadingsError, match=r"no column 'frequency_mhz' in these readings; found .*drive_v"):
        fit_vco(run().drop(columns="frequency_mhz"))


def test_too_few_voltages():
    with pytest.raises(
        ReadingsError, match=r"too few different voltages.*found 4; allowed: at least 5.*measure at more"
    ):
        fit_vco(run(drive_v=np.tile([1.0, 2.0, 3.0, 4.0], 4)))


def test_five_voltages_are_enough_and_unsure():
    vco = fit_vco(run(drive_v=np.linspace(0.3, 14, 5)))
    assert vco.frequency(2.0).s > 0.1
    assert abs(vco.frequency(2.0).n - resonance_mhz(2.0)) < 3 * vco.frequency(2.0).s


@pytest.mark.parametrize("column", ["u_drive_v", "u_frequency_mhz"])
@pytest.mark.parametrize("value", [0.0, -0.01])
def test_uncertainty_of_zero_or_below(column, value):
    table = run()
    table.loc[3, column] = value
    with pytest.raises(ReadingsError, match=rf"vco\.csv:5, column '{column}'.*found {value:g}; allowed: .*above zero"):
        fit_vco(table)


@pytest.mark.parametrize(
    ("column", "value"), [("drive_v", np.inf), ("frequency_mhz", np.nan), ("frequency_mhz", -60.0)]
)
def test_impossible_value(column, value):
    table = run()
    table.loc[7, column] = value
    with pytest.raises(
        ReadingsError, match=rf"vco\.csv:9, column '{column}': {column} cannot be used; found {value:g}"
    ):
        fit_vco(table)


def test_falling_frequency():
    with pytest.raises(
        ReadingsError, match=r"does not rise with the voltage; found .*MHz at -14 V.*sign of the voltage"
    ):
        fit_vco(run().assign(drive_v=-there_and_back()))


def test_constant_frequency():
    with pytest.raises(ReadingsError, match=r"the frequency does not rise with the voltage; found 60 MHz at 0\.3 V"):
        fit_vco(run().assign(frequency_mhz=60.0))


def test_a_fall_in_the_middle_names_its_rows():
    drive_v = there_and_back()
    fold = -6.0 / (1 + np.exp(-(drive_v - 7) / 0.2))
    with pytest.raises(
        ReadingsError, match=r"vco\.csv:\d+, .*the frequency falls with rising voltage; found .* MHz at 7"
    ):
        fit_vco(run(added_mhz=fold))


@pytest.mark.parametrize(("factor", "word"), [(2.0, "doubled"), (0.5, "halved")])
@pytest.mark.parametrize("rows", [[0], [31], [9], [20], [3, 4, 5, 6], [17, 18, 19, 20, 21, 22, 23]])
def test_wrong_counts_are_named_row_by_row(factor, word, rows):
    table = run()
    table.loc[rows, "frequency_mhz"] *= factor
    vco = fit_vco(table)
    found = check(vco, "counts")
    assert not found.passed
    for row in range(32):
        assert (f"vco.csv:{row + 2} (" in found.detail) == (row in rows)
    assert word in found.detail
    assert found.at_stake_mhz > 0.1
    assert len(vco.fit.residuals) == 32 - len(rows)
    places = np.linspace(*vco.range_v, 20)
    pulls = [(f.n - t) / f.s for f, t in zip(vco.frequency(places), resonance_mhz(places), strict=True)]
    assert np.max(np.abs(pulls)) < 4


def test_half_of_the_counts_wrong():
    table = run()
    table.loc[::2, "frequency_mhz"] *= 2
    with pytest.raises(
        ReadingsError, match=r"nothing tells which are right; found \d+ of 32 rows; allowed: at most a third"
    ):
        fit_vco(table)


def test_an_odd_factor_is_not_called_doubled():
    table = run()
    table.loc[9, "frequency_mhz"] *= 1.4
    vco = fit_vco(table)
    assert check(vco, "counts").passed
    assert "vco.csv:11" in check(vco, "single readings").detail


def test_too_few_left_without_the_wrong_counts():
    table = run(drive_v=np.repeat(np.linspace(0.3, 14, 5), 2))
    table.loc[[4, 5], "frequency_mhz"] *= 2
    with pytest.raises(ReadingsError, match=r"too few different voltages are left.*found 4; allowed: at least 5"):
        fit_vco(table)


def test_a_bare_table_names_rows_by_number():
    table = pd.DataFrame({"drive_v": there_and_back(), "frequency_mhz": resonance_mhz(there_and_back())})
    table.loc[4, "frequency_mhz"] = np.nan
    with pytest.raises(ReadingsError, match=r"row 5, column 'frequency_mhz'"):
        fit_vco(table)
