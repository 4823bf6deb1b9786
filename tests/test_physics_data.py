"""The packaged tables and the catalogue of lines."""

from pathlib import Path

import pytest

from aotf_lab.data import ASSUMED_U_NM, PACKAGED_TABLES, catalogue_lines, read_packaged_table
from aotf_lab.errors import AotfLabError
from tests.house import SHARED

PACKAGED = Path(__file__).parents[1] / "aotf_lab" / "data"


@pytest.mark.parametrize("name", PACKAGED_TABLES)
def test_packaged_table_equals_the_published_one(name):
    twin = SHARED / f"{name.replace('acoustic', 'teo2_acoustic')}.csv"
    assert (PACKAGED / f"{name}.csv").read_bytes() == twin.read_bytes()


@pytest.mark.parametrize("name", PACKAGED_TABLES)
def test_every_packaged_row_names_source_and_provenance(name):
    rows = read_packaged_table(name)
    assert rows
    assert all(row["source"].strip() and row["provenance"].strip() for row in rows)


def test_a_caller_cannot_change_the_packaged_table():
    read_packaged_table("dispersion")[0]["B1"] = "0"
    assert read_packaged_table("dispersion")[0]["B1"] == "2.584"


def test_unknown_table():
    with pytest.raises(AotfLabError, match=r"no such packaged table; found 'lamps'; allowed: dispersion, .*lamp_lines"):
        read_packaged_table("lamps")


def test_catalogue_holds_every_row_in_order():
    lines = catalogue_lines()
    assert len(lines) == len(read_packaged_table("wavelength_standards")) + len(read_packaged_table("lamp_lines"))
    assert [line.wavelength_nm for line in lines] == sorted(line.wavelength_nm for line in lines)
    assert len({line.name for line in lines}) == len(lines)
    assert all(line.u_wavelength_nm > 0 for line in lines)


def test_assumed_uncertainty_is_said():
    assumed = [line for line in catalogue_lines() if "assumed" in line.note]
    blank = [row for row in read_packaged_table("wavelength_standards") if not row["u_vac_nm"]]
    assert len(assumed) == len(blank) > 0
    assert all(line.u_wavelength_nm == ASSUMED_U_NM for line in assumed)
