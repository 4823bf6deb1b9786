"""A fitted scan, and the length of its sound column, against published passband constants and formulas.

Sources: shared/acousto_optics_facts.csv (coupled-mode theory: A. Yariv & P. Yeh, Optical Waves in Crystals (1984);
derived). The passband formula of the wide-angle filter, FWHM = 1.8 pi wavelength^2 / (b L sin^2 incidence) with
b = 2 pi (dn - wavelength d(dn)/d wavelength): I. C. Chang, Appl. Phys. Lett. 25, 370 (1974), and Yano & Watanabe,
Appl. Opt. 15, 2250 (1976); both cited from memory. It takes the birefringence as small and its rounded 0.9 stands
for 0.886, so it is held to 10 %.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from aotf_lab import fit_scan
from aotf_lab.crystal.scan.lengths import weak_fwhm_mhz
from aotf_lab.crystal.scan.model import detuning_of
from aotf_lab.physics.indices import birefringence, extraordinary_index, ordinary_index
from aotf_lab.physics.passband_length import (
    HALF_DETUNING,
    interaction_length,
    phase_mismatch,
    slow_shear_walkoff,
)
from aotf_lab.physics.phase_matching import parallel_tangent_acoustic_angle, phase_matched_frequency
from aotf_lab.physics.slowness import energy_angle_deg
from tests.benchmarks.scan_bench import Scenario, Truth
from tests.house import published
from tests.test_crystal_scan import scan_of

FACTS = {row["fact"]: row["value"] for row in published("acousto_optics_facts.csv")}
WEAK_FWHM = float(FACTS["weak-drive passband FWHM / first-null spacing"])
FULL_OVER_WEAK = float(FACTS["passband FWHM at P=P_sat / FWHM at weak drive"])
LOBES_DB = {
    drive: float(FACTS[name].removesuffix(" dB"))
    for drive, name in ((1e-3, "first sidelobe, weak drive"), (1.0, "first sidelobe at full drive (P=P_sat)"))
}


@pytest.mark.parametrize("drive", LOBES_DB)
def test_sidelobes_of_a_fitted_scan_have_the_published_level(drive):
    quiet = Scenario("quiet", points=(61, 61), noise=0.2)
    scan = fit_scan(scan_of(quiet, truth=Truth(64.2, 0.26, 0.0, drive, "tanh D")), drive_ratio=drive)
    assert len(scan.sidelobes) == 2
    for sidelobe in scan.sidelobes:
        assert sidelobe.theory_db == pytest.approx(LOBES_DB[drive], abs=0.02)
        assert abs(sidelobe.level_db.n - LOBES_DB[drive]) < 3.5 * sidelobe.level_db.s
        assert sidelobe.level_db.s < 0.1


def test_the_models_width_over_its_null_is_the_published_one():
    null = brentq(lambda f: float(detuning_of(np.array([f]), 0.0, 1.0)[0]) - np.pi, 0.1, 3.0)
    assert 1.0 / null == pytest.approx(WEAK_FWHM, abs=1e-5)
    scan = fit_scan(scan_of(truth=Truth(64.2, 0.31, 0.0, 1.0, "tanh D")), drive_ratio=1.0)
    ratio = scan.fwhm_mhz / scan.weak_fwhm_mhz
    assert abs(ratio.n - FULL_OVER_WEAK) < 1e-4 + 3.5 * ratio.s
    weak = weak_fwhm_mhz(scan.fwhm_mhz, scan.skew * 0.0, scan.drive_ratio)
    assert (scan.fwhm_mhz / weak).n == pytest.approx(0.79869 / WEAK_FWHM, abs=2e-5)


@pytest.mark.parametrize("incidence", [5.0, 10.6, 16.2, 20.0])
def test_the_length_agrees_with_the_published_passband_formula(incidence):
    nm, velocity, width = 589.0, 650.0, 0.1
    sound = float(parallel_tangent_acoustic_angle(nm, incidence))
    cut = (incidence, sound, velocity)
    mhz_per_nm = float(phase_matched_frequency(nm + 1, *cut) - phase_matched_frequency(nm - 1, *cut)) / 2
    dispersion = float(birefringence(nm) - nm * (birefringence(nm + 1) - birefringence(nm - 1)) / 2)
    fwhm_mm, b = width / abs(mhz_per_nm) * 1e-6, 2 * np.pi * dispersion
    formula = 1.8 * np.pi * (nm * 1e-6) ** 2 / (b * fwhm_mm * np.sin(np.radians(incidence)) ** 2)
    assert float(interaction_length(width, nm, *cut)) == pytest.approx(formula, rel=0.1)


@pytest.mark.parametrize("walkoff", [0.0, 42.0, -20.0])
@pytest.mark.parametrize("incident", ["ordinary", "extraordinary"])
def test_the_width_of_that_length_by_adding_up_waves_through_the_column(walkoff, incident):
    """Independent: light scattered at each depth of the column adds up with the phase of k_d - k_i - K.

    The diffracted wave keeps the component along the column's sides; its other component is found on the index surface
    by a search from vectors. The sum over depth, not sinc, gives the light; its half heights give the width.
    """
    nm, incidence, sound, velocity, width = 589.12, 10.6, 5.3, 643.4, 0.3
    cut = (nm, incidence, sound, velocity)
    mm = float(interaction_length(width, *cut, walkoff_deg=walkoff, incident=incident))
    n_o, n_e = float(ordinary_index(nm)), float(extraordinary_index(nm))
    light, k = np.radians(incidence), 2e6 * np.pi / nm
    k_dir = np.array([np.cos(np.radians(sound)), -np.sin(np.radians(sound))])
    side = np.array([np.cos(np.radians(sound + walkoff)), -np.sin(np.radians(sound + walkoff))])
    normal = np.array([-side[1], side[0]])
    rays = {"ordinary": (n_o, n_o), "extraordinary": (n_e, n_o)}
    own, other = rays[incident], rays["extraordinary" if incident == "ordinary" else "ordinary"]
    direction = np.array([np.sin(light), np.cos(light)])
    k_i = k * direction / np.hypot(*(direction / own))
    sign = 1.0 if incident == "ordinary" else -1.0
    column = mm * np.cos(np.radians(walkoff))
    depth = (np.arange(4000) + 0.5) / 4000 * column

    def share(frequency_mhz):
        end = k_i + sign * 2e3 * np.pi * frequency_mhz / velocity * k_dir

        def outside(t):
            return float(np.hypot(*((end + t * normal) / other)) / k - 1.0)

        miss = brentq(outside, -30.0, 30.0, xtol=1e-13)
        return float(np.abs(np.mean(np.exp(1j * miss * depth))) ** 2)

    tuned = float(phase_matched_frequency(*cut, incident=incident))
    assert share(tuned) == pytest.approx(1.0, abs=1e-9)
    above = brentq(lambda f: share(f) - 0.5, tuned, tuned + 0.3)
    below = brentq(lambda f: share(f) - 0.5, tuned - 0.3, tuned)
    assert above - below == pytest.approx(width, rel=1e-5)
    missed = phase_mismatch(np.array([below, above]), *cut, walkoff_deg=walkoff, incident=incident)
    np.testing.assert_allclose(np.abs(missed) * column / 2, HALF_DETUNING, rtol=5e-3)


@pytest.mark.parametrize("angle", [0.0, 3.0, 5.3, 9.0])
def test_the_walk_off_is_that_of_the_elastic_constants(angle):
    """Independent: the Christoffel equation (``physics.slowness``) instead of the law of velocities."""
    assert float(slow_shear_walkoff(angle)) == pytest.approx(float(energy_angle_deg(angle)) - angle, abs=0.2)
