"""Detection limits and sidelobes against published numbers.

L. A. Currie, Anal. Chem. 40, 586 (1968): for paired counts of a sample and of a blank B, and 5 % either way, the
critical level is 2.33 sqrt(B) and the detection limit 2.71 + 4.65 sqrt(B) counts; 3.29 sigma where the uncertainty
does not grow. From memory, as are the upper limits of a normal variable near zero (G. J. Feldman & R. D. Cousins, Phys.
Rev. D 57, 3873 (1998), table X: 1.96 for a reading of zero, 95 %) and ISO 11929-1:2019.
Sidelobes: coupled-mode theory, shared/acousto_optics_facts.csv.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.crystal.passbands.passband import Passband
from aotf_lab.crystal.passbands.passbands import Passbands
from aotf_lab.crystal.purity.contrast import contrast
from aotf_lab.crystal.purity.detection import decision_threshold, detection_limit, upper_limit

SHARED = Path(__file__).parents[2] / "shared"
FACTS = pd.read_csv(SHARED / "acousto_optics_facts.csv").set_index("fact")["value"]


@pytest.mark.parametrize("blank", [25.0, 100.0, 4000.0])
def test_currie_1968_paired_counts(blank):
    assert decision_threshold(np.sqrt(2 * blank)) == pytest.approx(2.33 * np.sqrt(blank), rel=2e-3)
    found = detection_limit(lambda net: np.sqrt(net + 2 * blank))
    assert found == pytest.approx(2.71 + 4.65 * np.sqrt(blank), rel=2e-3)


def test_currie_1968_uncertainty_that_does_not_grow():
    assert detection_limit(lambda leak: 1.0) == pytest.approx(3.29, abs=5e-3)


def test_feldman_cousins_1998_at_a_reading_of_zero():
    assert upper_limit(0.0, 1.0) == pytest.approx(1.96, abs=5e-3)


def test_iso_11929_far_above_zero_is_the_plain_one_sided_limit():
    assert upper_limit(10.0, 1.0) == pytest.approx(10.0 + 1.645, abs=1e-3)


@pytest.mark.parametrize("reading", [-1.5, -0.3, 0.8, 2.5])
def test_iso_11929_truncated_normal_law(reading):
    """The 95 % quantile of the normal law about the reading, cut off at zero (scipy's truncnorm)."""
    law = stats.truncnorm(-reading / 0.7, np.inf, loc=reading, scale=0.7)
    assert upper_limit(reading, 0.7) == pytest.approx(law.ppf(0.95), rel=1e-6)


def pair(distance_mhz=2.0):
    """Two lines whose passbands are sinc-shaped without lean, their facts known exactly, P_sat 0.4 W."""
    rate, facts = ufloat(2 * 1.391557 / 0.3, 1e-9), (ufloat(0.0, 1e-9), ufloat(0.4, 1e-9), ufloat(1.0, 1e-9))
    return Passbands({n: Passband(n, None, ufloat(64.0 + d, 1e-9), rate, *facts)
                      for n, d in (("E", 0.0), ("D", distance_mhz))})  # fmt: skip


@pytest.mark.parametrize(("power", "fact"), [(1e-6, "first sidelobe, weak drive"),
                                             (0.4, "first sidelobe at full drive (P=P_sat)")])  # fmt: skip
def test_first_sidelobe(power, fact):
    found, f = pair(), np.linspace(64.36, 64.66, 3001)
    top = float(found.nominal("E", f, power).max() / found.nominal("E", 64.0, power))
    assert 10 * np.log10(top) == pytest.approx(float(FACTS[fact].split()[0]), abs=0.006)
    bound = float(found.upper("E", 64.40, power) / found.nominal("E", 64.0, power))
    assert 10 * np.log10(bound) == pytest.approx(float(FACTS[fact].split()[0]), abs=0.15)


def test_contrast_loses_what_the_sidelobes_gain_from_weak_to_full_drive():
    """-9.34 - (-13.26) = 3.92 dB = 20 lg(pi/2)."""
    found = contrast(pair(), "E")
    weak, full = found.contrast_db(float(found.rf_power_w[0])), found.contrast_db(0.4)
    gained = float(FACTS["first sidelobe at full drive (P=P_sat)"].split()[0])
    gained -= float(FACTS["first sidelobe, weak drive"].split()[0])
    assert weak - full == pytest.approx(gained, abs=0.06)
