"""Constants of coupled waves against the published ones."""

import numpy as np
import pandas as pd
import pytest

from aotf_lab.physics.coupled_waves import (
    diffraction_efficiency,
    light_lost,
    passband_fwhm,
    peak_efficiency,
    sidelobe_level_db,
)
from tests.house import SHARED

FACTS = pd.read_csv(SHARED / "acousto_optics_facts.csv").set_index("fact")["value"]


def _fact(name):
    return float(FACTS[name].removesuffix(" dB"))


# Coupled-mode theory, e.g. Yariv & Yeh, Optical Waves in Crystals (1984); the numbers derived there from.
def test_weak_drive_passband():
    expected = _fact("weak-drive passband FWHM / first-null spacing")
    assert expected == 0.88589
    assert passband_fwhm(0.0) == pytest.approx(expected, abs=5e-6)


def test_passband_narrows_at_full_drive():
    expected = _fact("passband FWHM at P=P_sat / FWHM at weak drive")
    assert expected == 0.9016
    assert passband_fwhm(1.0) / passband_fwhm(0.0) == pytest.approx(expected, abs=6e-5)


def test_sidelobes_rise_with_drive():
    assert sidelobe_level_db(0.0) == pytest.approx(_fact("first sidelobe, weak drive"), abs=0.005)
    assert sidelobe_level_db(1.0) == pytest.approx(_fact("first sidelobe at full drive (P=P_sat)"), abs=0.005)


def test_half_of_the_light_at_a_quarter_of_the_saturation_power():
    # sin^2((pi/2) sqrt(P/P_sat)): A. Yariv, IEEE J. Quantum Electron. 9, 919 (1973).
    np.testing.assert_allclose(peak_efficiency([0.0, 0.25, 4 / 9, 1.0]), [0.0, 0.5, 0.75, 1.0], rtol=1e-12, atol=1e-15)


def test_sinc_squared_table():
    # sinc^2 to four digits, from memory (spectroscopy and antenna handbooks): half at 0.4429 of the first null.
    assert light_lost(0.5) == pytest.approx(0.5, abs=1e-12)
    assert passband_fwhm(0.0) / 2 == pytest.approx(0.4429, abs=5e-5)
    assert light_lost(1.0 / passband_fwhm(0.0)) == pytest.approx(1.0, abs=1e-12)


def test_constant_of_the_published_bandwidth():
    # FWHM = 1.8 pi wavelength^2 / (b L sin^2 i) with b L sin^2 i / wavelength^2 the mismatch over the length L:
    # I. C. Chang, Appl. Phys. Lett. 25, 370 (1974), from memory. Peak to null is 2 pi of mismatch.
    assert 2.0 * float(passband_fwhm(0.0)) == pytest.approx(1.8, abs=0.05)


def test_sidelobes_of_weak_drive():
    # sinc^2 sidelobes, from memory (antenna handbooks): -13.26, -17.83, -20.79 dB at 1.4303, 2.4590 and 3.4709 nulls.
    places = np.pi * np.array([1.4303, 2.4590, 3.4709])
    weak = 1e-9
    levels = 10 * np.log10(diffraction_efficiency(places, weak) / diffraction_efficiency(0.0, weak))
    np.testing.assert_allclose(levels, [-13.26, -17.83, -20.79], rtol=0, atol=0.006)
