"""Rotatory power of paratellurite against published values."""

import numpy as np
import pandas as pd
import pytest

from aotf_lab.physics.rotatory import circular_birefringence, rotatory_power_deg_per_mm
from tests.house import SHARED

# N. Uchida, Phys. Rev. B 4, 3736 (1971), all from memory. The values at 435.8 and 632.8 nm fix the two strengths of the
# law; those at 800 and 1000 nm, and the poles (of the index, not of the rotation), are independent of that.
TABLE = pd.read_csv(SHARED / "rotatory_power.csv")


def test_values_that_did_not_enter_the_law():
    rows = TABLE[TABLE["use"] == "check only"]
    assert list(rows["wavelength_nm"]) == [800.0, 1000.0]
    np.testing.assert_allclose(rotatory_power_deg_per_mm(rows["wavelength_nm"]), rows["rotatory_deg_per_mm"], rtol=0.03)


def test_listed_fact_at_the_helium_neon_line():
    facts = pd.read_csv(SHARED / "acousto_optics_facts.csv").set_index("fact")["value"]
    listed = float(facts["rotatory power of TeO2 at 632.8 nm"].removesuffix(" deg/mm"))
    assert float(rotatory_power_deg_per_mm(632.8)) == pytest.approx(listed, rel=1e-9)


def test_one_millimetre_turns_by_the_listed_angle():
    # definition (Fresnel): rotation = pi (n_left - n_right) thickness / wavelength
    turned = np.degrees(np.pi * circular_birefringence(632.8) * 1e-3 / 632.8e-9)
    assert float(turned) == pytest.approx(86.9, rel=1e-9)
