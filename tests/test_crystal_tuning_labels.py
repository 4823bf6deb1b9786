"""Labels that are wrong: exchanged ones stop the fit, a mistyped one is named with what would cure it."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from aotf_lab.crystal import fit_tuning
from aotf_lab.crystal.tuning.cures import cures
from aotf_lab.crystal.tuning.lines import usable_lines
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import ReadingsError
from aotf_lab.physics.air import air_to_vacuum
from aotf_lab.reading.readings import Readings
from aotf_lab.reading.receipt import ColumnReceipt, Receipt
from tests.crystal_tuning_lines import IN_AIR_NM, LABELS, skerry_lines, true_mhz

ALL_SEVEN_IN_AIR_NM = np.array([449.6, 473.06, 517.9, 556.27, 588.96, 637.4, 671.1])
U_SEVEN_NM = np.array([3.0, 0.08, 4.0, 0.1, 0.1, 3.0, 0.1])


def exchanged(table, i, k):
    table = table.copy()
    columns = [c for c in ("wavelength_nm", "u_wavelength_nm", "label") if c in table]
    table.loc[[i, k], columns] = table.loc[[k, i], columns].to_numpy()
    return table


def labels_check(tuning):
    return next(c for c in tuning.fit.checks if c.name == "line labels")


def mistyped(row, in_air_nm, seed=3):
    stated = IN_AIR_NM.copy()
    stated[row] = in_air_nm
    return skerry_lines(stated, seed)


@pytest.mark.parametrize(("i", "k"), list(combinations(range(4), 2)))
def test_any_two_anchors_exchanged_are_named(i, k):
    names = rf"{LABELS[k]} \(lines.csv:{i + 2}\) and {LABELS[i]} \(lines.csv:{k + 2}\)"
    with pytest.raises(ReadingsError, match=f"the labels of {names} seem to be exchanged; found"):
        fit_tuning(exchanged(skerry_lines(seed=1), i, k))


@pytest.mark.parametrize(("i", "k"), list(combinations(range(7), 2)))
def test_any_two_of_all_seven_lines_exchanged_are_named(i, k):
    nm = air_to_vacuum(ALL_SEVEN_IN_AIR_NM)
    table = pd.DataFrame({"label": list("ABCDEFG"), "wavelength_nm": nm, "u_wavelength_nm": U_SEVEN_NM})
    table = exchanged(table.assign(frequency_mhz=true_mhz(nm), u_frequency_mhz=0.005), i, k)
    names = rf"{table['label'][i]} \(row {i + 1}\) and {table['label'][k]} \(row {k + 1}\)"
    with pytest.raises(ReadingsError, match=f"the labels of {names} seem to be exchanged; found"):
        fit_tuning(table)


def test_two_lines_exchanged():
    says = r"rises with wavelength: the labels of G \(lines.csv:2\) and B \(lines.csv:5\)"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(exchanged(skerry_lines(), 0, 3).iloc[[0, 3]])


def test_peak_of_the_second_harmonic_is_named():
    table = skerry_lines()
    table.loc[0, "frequency_mhz"] /= 2
    says = r"B \(lines.csv:2\) stands out of order; .* 86.3\d* MHz, is in order: the second"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(table)


def test_one_line_out_of_order_without_a_harmonic():
    table = skerry_lines()
    table.loc[0, "frequency_mhz"] = 30.0
    says = r"B \(lines.csv:2\) stands out of order; .* correct its wavelength or its frequency$"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(table)


def test_more_than_one_wrong_label():
    table = skerry_lines()
    table["frequency_mhz"] = np.sort(table["frequency_mhz"])
    says = "B to D, B to E, B to G, D to E, D to G, E to G: more than one label is wrong"
    with pytest.raises(ReadingsError, match=says):
        fit_tuning(table)


def test_rise_within_the_uncertainties_is_no_exchange():
    table = skerry_lines().assign(u_wavelength_nm=1.0)
    table.loc[2, "wavelength_nm"] = table.loc[1, "wavelength_nm"] - 0.5
    table.loc[2, "frequency_mhz"] = table.loc[1, "frequency_mhz"] - 0.01
    assert fit_tuning(table).fit.trusted


def test_mistyped_anchor_is_named_with_its_cure():
    known = CatalogueLine("yellow laser of the bench", float(air_to_vacuum(588.96)), 0.1, "bench notes", "read")
    check = labels_check(fit_tuning(mistyped(2, 598.96), known_lines=[known]))
    assert not check.passed
    assert check.detail.startswith("E (lines.csv:4) is probably mislabelled: stated 599.")
    assert "yellow laser of the bench (589.12 nm)" in check.detail
    assert " or " not in check.detail
    assert check.at_stake_mhz == pytest.approx(float(true_mhz(588.9) - true_mhz(598.9)), abs=0.1)


@pytest.mark.parametrize("row", range(4))
@pytest.mark.parametrize("shift", [-8.0, 8.0])
def test_each_anchor_that_is_eight_nanometres_off_is_among_the_named(row, shift):
    check = labels_check(fit_tuning(mistyped(row, IN_AIR_NM[row] + shift)))
    assert not check.passed
    assert check.detail.startswith(f"{LABELS[row]} (lines.csv:{row + 2}) is probably mislabelled")


def test_packaged_catalogue_line_that_would_cure_is_listed():
    # the argon line at 514.67 nm (NIST Atomic Spectra Database) entered as 524.53 nm in air
    nm = np.append(IN_AIR_NM, 514.53)
    table = pd.DataFrame({"wavelength_nm": air_to_vacuum(nm), "u_wavelength_nm": 0.05, "u_frequency_mhz": 0.005})
    table["frequency_mhz"] = true_mhz(table["wavelength_nm"].to_numpy())
    table.loc[4, "wavelength_nm"] = air_to_vacuum(524.53)
    detail = labels_check(fit_tuning(table)).detail
    assert detail.startswith("524.68 nm (row 5) is probably mislabelled")
    assert "Ar+ 514.5 (514.67 nm)" in detail


def test_three_lines_cannot_tell_which():
    check = labels_check(fit_tuning(mistyped(2, 598.96).iloc[[0, 2, 3]]))
    assert not check.passed
    assert check.detail.endswith("3 lines cannot tell which, another would")


def test_right_labels_pass():
    check = labels_check(fit_tuning(skerry_lines(seed=3)))
    assert check.passed
    assert "limit 3.5" in check.detail


def test_left_out_line_agrees_with_the_others_and_a_mistyped_one_does_not():
    good, bad = fit_tuning(skerry_lines(seed=3)).left_out, fit_tuning(mistyped(2, 598.96)).left_out
    assert max(abs(left.z) for left in good) < 3
    assert [left.place for left in good] == [f"{n} (lines.csv:{i + 2})" for i, n in enumerate(LABELS)]
    assert bad[2].gap == pytest.approx(1.4, abs=0.4)


def slips(stated_nm, around_nm, medium):
    table = skerry_lines().assign(medium=medium)
    table.loc[2, "wavelength_nm"] = stated_nm
    return cures(usable_lines(Readings(table)), 2, around_nm, 0.02)


def test_digits_exchanged_in_the_medium_of_the_table():
    assert slips(air_to_vacuum(598.86), air_to_vacuum(588.96), "air") == ()
    assert slips(air_to_vacuum(589.86), air_to_vacuum(598.86), "air")[0] == "598.86 nm in air (one slip from 589.86)"
    assert slips(589.86, 598.86, "vacuum")[0] == "598.86 nm in vacuum (one slip from 589.86)"


def test_air_taken_for_vacuum_is_named():
    assert slips(588.96, air_to_vacuum(588.96), "vacuum")[0] == "588.96 nm, if that is the value in air"
    assert slips(air_to_vacuum(589.12), 589.12, "air")[0] == "589.12 nm, if that is the value in vacuum"


def test_heading_of_the_raw_file_says_the_medium():
    column = ColumnReceipt("wavelength_air_nm", "wavelength_air_nm", "nm", "bench name")
    readings = Readings(skerry_lines(), receipts=(Receipt("lines.csv", 4, (column,)),))
    assert usable_lines(readings).media == ("air",) * 4
    assert usable_lines(Readings(skerry_lines())).media == ("",) * 4
