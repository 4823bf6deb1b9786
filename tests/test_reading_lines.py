"""Tables of laser lines."""

import re

import numpy as np
import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading import read_lines
from tests.house import published


def test_lines_in_air_against_published_wavelengths(log):
    # vacuum: NIST Atomic Spectra Database and the list of the metre's mise en pratique, printed to 1e-4 nm or better;
    # air: computed with Peck & Reeder, J. Opt. Soc. Am. 62, 958 (1972). Rows from memory are left out.
    rows = [r for r in published("wavelength_standards.csv") if r["provenance"] == "read"]
    assert len(rows) > 20
    body = [f"{r['laser']},{r['air_nm_15C']},0.01,75" for r in rows]
    table = read_lines(log("\n".join(["Label,Wavelength in air (nm),u (nm),Frequency (MHz)", *body]))).table
    assert table["wavelength_nm"].tolist() == pytest.approx([float(r["vac_nm"]) for r in rows], abs=6e-5)
    assert table["u_wavelength_nm"].tolist() == [0.01] * len(rows)


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("wavelength_vacuum_nm", "589.16"),
        ("Wavelength in vacuum (um)", "0.58916"),
        ("Wavelength (nm),Medium", "589.16,vacuum"),
        ("wavelength_nm,medium", "589.16,vac"),
    ],
)
def test_lines_in_vacuum_stay_as_they_are(log, header, row):
    table = read_lines(log(f"label,{header},frequency_mhz\nE,{row},64\n")).table
    assert table["wavelength_nm"].tolist() == pytest.approx([589.16], rel=1e-12)


def test_lines_with_a_medium_in_each_row(log):
    table = read_lines(log("label,wavelength_nm,medium,frequency_mhz\nD,589,air,64\nE,589,vacuum,64\n")).table
    assert np.diff(table["wavelength_nm"]).tolist() == pytest.approx([-0.1633], abs=1e-4)


@pytest.mark.parametrize("header", ["Wavelength (nm)", "wavelength_nm"])
def test_lines_that_do_not_say_the_medium(log, header):
    message = rf"does not say in which medium; found '{re.escape(header)}'; allowed: wavelength_air_nm"
    with pytest.raises(ReadingError, match=message):
        read_lines(log(f"label,{header},frequency_mhz\nE,589,64\n"))


def test_lines_whose_heading_and_row_disagree(log):
    message = r"log.csv:2: the heading says air and the row says otherwise; found 'vacuum'"
    with pytest.raises(ReadingError, match=message):
        read_lines(log("wavelength_air_nm,medium,frequency_mhz\n589,vacuum,64\n"))


def test_lines_without_a_medium_in_one_row(log):
    readings = read_lines(log("wavelength_nm,medium,frequency_mhz\n589,air,64\n590,,63.9\n"))
    assert readings.receipts[0].rejected[0].reason == "no reading in column 'medium'"


def test_lines_without_u_and_label_are_widened(log):
    readings = read_lines(log("wavelength_air_nm,frequency_mhz\n589,64\n"))
    assert readings.table["u_wavelength_nm"].tolist() == [2.0]
    assert readings.table["label"].tolist() == ["589.2 nm"]
    assert "u of a wavelength not stated: 2 nm assumed" in str(readings.receipts[0])


@pytest.mark.parametrize("u", ["0", "-0.1"])
def test_lines_with_u_of_zero_or_below(log, u):
    message = rf"log.csv:2, column 'u \(nm\)': .*not above zero; found '{u}'; allowed: a number above 0 nm"
    with pytest.raises(ReadingError, match=message):
        read_lines(log(f"Wavelength in air (nm),u (nm),frequency_mhz\n589,{u},64\n"))


@pytest.mark.parametrize(("row", "column"), [("-589,64", "wavelength_air_nm"), ("589,0", "frequency_mhz")])
def test_lines_not_above_zero(log, row, column):
    with pytest.raises(ReadingError, match=rf"log.csv:2: {column} not above zero; found -?[0-9.]+; allowed"):
        read_lines(log(f"wavelength_air_nm,frequency_mhz\n{row}\n"))


@pytest.mark.parametrize(
    ("stated", "message"),
    [
        (
            "0.58896",
            "outside 150 to 20000 nm: looks like um; found 0.58896 nm; allowed: 150 to 20000 nm; write it in nm: ",
        ),
        (
            "58896",
            "outside 150 to 20000 nm; found 58896 nm; allowed: 150 to 20000 nm; write it in nm, or correct the unit",
        ),
        (
            "35000",
            "outside 150 to 20000 nm: looks like Angstrom; found 35000 nm; allowed: 150 to 20000 nm; write it in nm: ",
        ),
        (
            "5889.6",
            "far outside 400 to 1000 nm of TeO2: looks like Angstrom; found 5889.6 nm; allowed: 150 to 20000 nm; ",
        ),
    ],
)
def test_lines_in_another_unit(log, stated, message):
    with pytest.raises(ReadingError, match=re.escape(f"log.csv:3: wavelength_air_nm {message}")):
        read_lines(log(f"wavelength_air_nm,frequency_mhz\n532.05,75\n{stated},64\n"))


def test_lines_in_um_by_their_heading_are_converted(log):
    table = read_lines(log("Wavelength in air (um),frequency_mhz\n0.58896,64\n")).table
    assert table["wavelength_nm"].tolist() == pytest.approx([589.123], abs=1e-3)


def test_long_waves_belong_to_a_crystal_that_passes_them(log):
    path = log("wavelength_vacuum_nm,frequency_mhz\n4800,64\n")
    assert read_lines(path, material="LiNbO3 congruent").table["wavelength_nm"].tolist() == [4800.0]


def test_lines_without_wavelength(log):
    with pytest.raises(ReadingError, match=r"log.csv:1: no column that means a wavelength; found .*frequency_mhz"):
        read_lines(log("label,frequency_mhz\nE,64\n"))


def test_lines_with_two_wavelengths(log):
    message = r"several columns give the wavelength; found wavelength_nm, wavelength_air_nm; allowed"
    with pytest.raises(ReadingError, match=message):
        read_lines(log("wavelength_vacuum_nm,wavelength_air_nm,frequency_mhz\n589.16,589,64\n"))


def test_lines_with_two_columns_of_u(log):
    with pytest.raises(ReadingError, match=r"several columns give the u of the wavelength; found u_wavelength_"):
        read_lines(log("wavelength_air_nm,u_wavelength_air_nm,u_wavelength_nm,frequency_mhz\n589,0.1,0.2,64\n"))


def test_lines_mapped_by_hand(log):
    path = log("Laser line,Wavelength (nm),RF\nE,589,64\n")
    mapped = {"label": "Laser line", "wavelength_air_nm": "Wavelength (nm)", "frequency_mhz": "RF"}
    table = read_lines(path, columns=mapped).table
    assert table["label"].tolist() == ["E"]
    assert table["wavelength_nm"].tolist() == pytest.approx([589.163], abs=1e-3)
