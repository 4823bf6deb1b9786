"""Lines that cannot make a tuning curve, and lines of which something was not stated."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.crystal import fit_tuning
from aotf_lab.errors import ReadingsError
from tests.crystal_tuning_lines import skerry_lines


def failed(tuning, name):
    return next((c.detail for c in tuning.fit.failed if c.name == name), None)


def changed(column, row, value):
    table = skerry_lines()
    table.loc[row, column] = value
    return table


def test_no_lines():
    with pytest.raises(ReadingsError, match="no readings at all; found 0; allowed: at least one row"):
        fit_tuning(skerry_lines().iloc[:0])


@pytest.mark.parametrize("column", ["wavelength_nm", "frequency_mhz"])
def test_missing_column(column):
    with pytest.raises(ReadingsError, match=f"no column '{column}' in these readings; found label, "):
        fit_tuning(skerry_lines().drop(columns=column))


def test_one_line():
    with pytest.raises(ReadingsError, match=r"lines.csv:2: one line alone makes no tuning curve; found 1; .* fit_cut"):
        fit_tuning(skerry_lines().iloc[:1])


def test_two_lines_give_a_wider_curve_that_says_it_cannot_be_checked():
    two, four = fit_tuning(skerry_lines().iloc[[0, 3]]), fit_tuning(skerry_lines())
    assert failed(two, "line labels") == "cannot be checked: 2 lines; a third would show whether a wavelength is wrong"
    assert two.frequency(560.0).s > 5 * four.frequency(560.0).s
    assert abs(two.frequency(560.0).n - four.frequency(560.0).n) < 2 * two.frequency(560.0).s
    assert two.left_out == ()
    assert not two.fit.trusted


def test_two_lines_of_the_same_wavelength():
    table = changed("wavelength_nm", 2, skerry_lines()["wavelength_nm"][1])
    says = r"same wavelength: D \(lines.csv:3\) and E \(lines.csv:4\); found 556.4\d* nm twice"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(table)


@pytest.mark.parametrize("column", ["u_wavelength_nm", "u_frequency_mhz"])
@pytest.mark.parametrize("value", [0.0, -0.1, np.inf])
def test_uncertainty_of_zero_or_below(column, value):
    with pytest.raises(ReadingsError, match=rf"E \(lines.csv:4\): {column} not above zero; found {value:g}"):
        fit_tuning(changed(column, 2, value))


@pytest.mark.parametrize("column", ["wavelength_nm", "frequency_mhz"])
@pytest.mark.parametrize("value", [0.0, -5.0, np.nan])
def test_value_that_is_no_wavelength_or_frequency(column, value):
    with pytest.raises(ReadingsError, match=rf"lines.csv:4: {column} not above zero; found {value:g}"):
        fit_tuning(changed(column, 2, value))


def test_one_unstated_uncertainty_is_taken_as_the_largest_and_named():
    tuning = fit_tuning(changed("u_wavelength_nm", 0, np.nan))
    assert "no u_wavelength_nm for B (lines.csv:2): the largest stated, 0.1" in failed(
        tuning, "stated uncertainty of the lines"
    )
    assert tuning.frequency(473.2).s > fit_tuning(skerry_lines()).frequency(473.2).s


def test_no_uncertainty_of_wavelength_counts_as_exact_and_says_so():
    tuning = fit_tuning(skerry_lines().drop(columns="u_wavelength_nm"))
    assert "no u_wavelength_nm is stated for any line" in failed(tuning, "stated uncertainty of the lines")


def test_no_uncertainty_of_frequency_is_taken_from_the_scatter():
    table = skerry_lines(seed=2).assign(u_frequency_mhz=np.nan)
    tuning = fit_tuning(table)
    assert "estimated from" in failed(tuning, "stated uncertainty")
    assert failed(tuning, "line labels").startswith("cannot be checked: no u_frequency_mhz is stated")
    assert tuning.fit.coverage_factor() > 3


def test_no_uncertainty_of_frequency_and_too_few_lines():
    table = skerry_lines().drop(columns="u_frequency_mhz").iloc[:3]
    says = r"lines.csv:2: too few lines to take .* from the scatter; found 3; allowed: four"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(table)


def test_lines_without_labels_or_files_are_named_by_wavelength_and_row():
    table = pd.DataFrame(skerry_lines()[["wavelength_nm", "frequency_mhz", "u_frequency_mhz", "u_wavelength_nm"]])
    table.loc[1, "u_wavelength_nm"] = 0.0
    with pytest.raises(ReadingsError, match=r"556.42 nm \(row 2\): u_wavelength_nm not above zero"):
        fit_tuning(table)
