"""Index of air and air wavelengths against published tables."""

import numpy as np
import pandas as pd
import pytest

from aotf_lab.physics.air import (
    air_index,
    air_to_vacuum,
    saturation_vapour_pressure_pa,
    standard_air_index,
    vacuum_to_air,
)
from tests.house import SHARED

AIR = pd.read_csv(SHARED / "air_index.csv")


def _published(rows):
    """Return the published index; some rows are printed as 1+N.Ne-8."""
    text = rows["n_published"].astype(str)
    return np.array([1.0 + float(t[2:]) if t.startswith("1+") else float(t) for t in text])


def _ours(rows):
    saturated = saturation_vapour_pressure_pa(rows["t_C"])
    humidity = rows["RH_percent"].fillna(100.0 * rows["pv_Pa"] / saturated)
    return air_index(rows["lambda_vac_nm"], rows["t_C"], rows["p_Pa"], humidity, rows["xCO2_ppm"])


@pytest.mark.parametrize(
    ("model", "count", "tolerance"),
    [
        # An implementation of the NIST calculator's Ciddor equation: same formulas, 20 and 60 C.
        ("Ciddor", 3, 1e-9),
        # Ciddor, Appl. Opt. 35, 1566 (1996), dry-air table, from memory; printed to 1e-9.
        ("Ciddor dry", 5, 1e-9),
        # Birch & Downs 1993, measured moist air as compared in Ciddor 1996, from memory; the measurements' own
        # uncertainty is of the order of 1e-8.
        ("measured moist air", 9, 2e-8),
        # Birch & Downs standard dry air, from a public-domain index database; another equation.
        ("Birch & Downs standard dry air", 5, 5e-9),
    ],
)
def test_air_index_against_published_values(model, count, tolerance):
    rows = AIR[AIR["model"].str.startswith(model) if "air" in model else AIR["model"] == model]
    assert len(rows) == count
    np.testing.assert_allclose(_ours(rows), _published(rows), rtol=0, atol=tolerance)


def test_air_index_against_the_modified_edlen_equation():
    # Another published equation; it agrees at room temperature and is known to part from Ciddor's in hot moist air.
    rows = AIR[(AIR["model"] == "modified Edlen") & (AIR["t_C"] < 30)]
    assert len(rows) == 2
    np.testing.assert_allclose(_ours(rows), _published(rows), rtol=0, atol=3e-9)


def test_saturation_vapour_pressure_at_the_verification_points():
    # IAPWS-IF97, table 35: 300 K -> 3.53658941 kPa. From memory. At 100 C: 101.418 kPa, steam tables.
    assert saturation_vapour_pressure_pa(300.0 - 273.15) == pytest.approx(3536.58941, rel=1e-8)
    assert saturation_vapour_pressure_pa(100.0) == pytest.approx(101418.0, rel=1e-5)


@pytest.mark.parametrize("table", ["wavelength_standards", "lamp_lines"])
def test_air_column_of_the_line_lists(table):
    # Vacuum wavelengths of NIST ASD and the mise en pratique of the metre; air at 15 C by Peck & Reeder 1972,
    # printed to 1e-5 or 1e-6 nm. Rows from memory start from an air value with three decimals.
    lines = pd.read_csv(SHARED / f"{table}.csv")
    tolerance = np.where(lines["provenance"].str.contains("memory"), 5e-5, 6e-6)
    assert (np.abs(vacuum_to_air(lines["vac_nm"]) - lines["air_nm_15C"]) <= tolerance).all()
    assert (np.abs(air_to_vacuum(lines["air_nm_15C"]) - lines["vac_nm"]) <= 1.001 * tolerance).all()


def test_standard_air_agrees_with_ciddor_and_with_the_sodium_line():
    # Two published equations (Peck & Reeder 1972, Ciddor 1996), both for 330 ppm of CO2.
    wavelength_nm = np.linspace(400.0, 1000.0, 13)
    ciddor = air_index(wavelength_nm, 15.0, 101325.0, 0.0, 330.0)
    np.testing.assert_allclose(standard_air_index(wavelength_nm), ciddor, rtol=0, atol=1e-8)
    # Sodium D2, from memory (NIST ASD): 589.1583 nm in vacuum, 588.9950 nm in air.
    assert vacuum_to_air(589.1583264) == pytest.approx(588.99504, abs=1e-4)
