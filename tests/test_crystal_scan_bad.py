"""Readings that cannot be a scan are refused with what was found, what is allowed and what to do."""

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab import fit_scan
from aotf_lab.errors import ReadingsError
from tests.test_crystal_scan import scan_of

UP, DOWN = scan_of()


def table(power, f=None):
    f = np.linspace(63.5, 64.5, len(power)) if f is None else f
    return pd.DataFrame({"frequency_mhz": f, "optical_power_mw": power})


def test_header_only():
    with pytest.raises(ReadingsError, match="no readings at all; found 0"):
        fit_scan(UP.iloc[:0])


def test_no_table_at_all():
    with pytest.raises(ReadingsError, match="nothing to join; found 0"):
        fit_scan([])


@pytest.mark.parametrize("column", ["frequency_mhz", "optical_power_mw"])
def test_missing_column(column):
    with pytest.raises(ReadingsError, match=f"no column '{column}' in these readings"):
        fit_scan(UP.drop(columns=column))


@pytest.mark.parametrize("column", ["frequency_mhz", "optical_power_mw"])
def test_text_in_a_number(column):
    wrong = UP.astype({column: object}).assign(file="up.csv", line=np.arange(2, 33))
    wrong.loc[4, column] = "six"
    with pytest.raises(ReadingsError, match=f"up.csv:6: {column} is not a number; found 'six'"):
        fit_scan(wrong)


@pytest.mark.parametrize("u", [0.0, -0.001])
@pytest.mark.parametrize("column", ["u_optical_power_mw", "u_frequency_mhz"])
def test_u_of_zero_or_below(column, u):
    wrong = UP.assign(u_frequency_mhz=0.001)
    wrong.loc[3, column] = u
    with pytest.raises(ReadingsError, match=f"row 4: standard uncertainty {column}; found {u:g}; allowed: above zero"):
        fit_scan(wrong)


def test_unknown_direction():
    wrong = UP.assign(direction="sideways")
    with pytest.raises(
        ReadingsError, match=r"row 1: direction of a scan; found 'sideways'; allowed: up, down, \+1 or -1"
    ):
        fit_scan(wrong)


def test_too_few_readings():
    with pytest.raises(ReadingsError, match="too few readings for a scan; found 7; allowed: 8 to 1500"):
        fit_scan(UP.iloc[10:17])


def test_too_many_readings():
    with pytest.raises(ReadingsError, match="too many readings for a scan; found 1501"):
        fit_scan(table(np.ones(1501)))


def test_too_few_frequencies():
    with pytest.raises(ReadingsError, match="too few different frequencies for a scan; found 5; allowed: 6 or more"):
        fit_scan(table(np.arange(20.0), np.repeat(np.linspace(63.5, 64.5, 5), 4)))


def test_nothing_but_the_same_value():
    with pytest.raises(ReadingsError, match=r"no peak found; found '0\.5 to 0\.5 mW without one'"):
        fit_scan(table(np.full(31, 0.5)))


@pytest.mark.parametrize("seed", range(20))
def test_nothing_but_scatter(seed):
    scatter = 0.002 + 0.001 * np.random.default_rng(seed).normal(size=62)
    with pytest.raises(ReadingsError, match=r"no peak found; .*scan where this line is diffracted"):
        fit_scan(table(scatter))


def test_the_undiffracted_beam():
    with pytest.raises(ReadingsError, match=r"the light falls where the peak should be; .*move the power meter"):
        fit_scan(UP.assign(optical_power_mw=1.5 - UP["optical_power_mw"]))


def test_the_peak_beside_the_scan():
    with pytest.raises(ReadingsError, match=r"the peak lies outside the scan; found 'about 64\.\d* MHz'"):
        fit_scan([t[t["frequency_mhz"] < 64.1] for t in (UP, DOWN)])


@pytest.mark.parametrize("drive", [-0.1, 3.0, ufloat(2.9, 0.1)])
def test_a_drive_without_a_passband(drive):
    with pytest.raises(ReadingsError, match=r"drive ratio P / P_sat of a scan; found .*; allowed: 0 to 2.4"):
        fit_scan(UP, drive_ratio=drive)


@pytest.mark.parametrize("time_constant", [-1.0, float("nan"), ufloat(-0.5, 0.1)])
def test_a_time_constant_below_zero(time_constant):
    with pytest.raises(ReadingsError, match=r"time constant of the power meter; found .*; allowed: 0 s or more"):
        fit_scan(UP, time_constant_s=time_constant)
