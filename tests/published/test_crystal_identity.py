"""Peaks of published filters, identified with an unknown scale.

Flight filter: commanded frequencies of an infrared filter flown on a Mars orbiter (``shared/flight_filter_tuning.csv``;
Liuzzi et al., Icarus 321, 671 (2019)). First wide-angle filter: Chang, Appl. Phys. Lett. 25, 370 (1974), from memory
(``shared/acousto_optics_facts.csv``). Visible filter of 106 MHz at 561 nm: common practice, no source; its law is that
of Chang 1974 and Yano & Watanabe 1976, its lines those of the NIST Atomic Spectra Database and of the CIPM list.
"""

from __future__ import annotations

import csv

import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal import fit_tuning
from aotf_lab.crystal.identity.identify import identify
from aotf_lab.data import CatalogueLine, catalogue_lines
from aotf_lab.physics.phase_matching import parallel_tangent_frequency
from tests.house import ROOT

SIX = ("108", "123", "148", "163", "193", "208")
U_MHZ, U_NM = 0.02, 1.0
"""A judgement: the misfit of a law that is extrapolated to 4 um, no uncertainty being listed."""


@pytest.fixture(scope="module")
def flight():
    with open(ROOT / "shared/flight_filter_tuning.csv", encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def every_fifth(flight):
    return [
        CatalogueLine(r["order"], 1e3 * float(r["wavelength_vacuum_um"]), U_NM, r["source"], "") for r in flight[::5]
    ]


def six_peaks(flight):
    return {f"p{r['order']}": ufloat(1e-3 * float(r["rf_khz"]), U_MHZ) for r in flight if r["order"] in SIX}


def orders(identity):
    return {peak: None if line is None else line.name for peak, line in identity.lines.items()}


def test_set_points_of_the_flight_filter_are_identified_and_the_doubt_is_said(flight):
    found = identify(six_peaks(flight), every_fifth(flight), widened=10, extrapolate=True)
    assert orders(found) == {f"p{o}": o for o in SIX}
    assert found.best.consistent
    assert found.ambiguous  # orders are evenly spaced: a rival of other orders stands within the limit
    assert found.remaining > 1


def test_scale_from_other_set_points_leaves_one_assignment(flight):
    others = pd.DataFrame(
        {
            "wavelength_nm": [1e3 * float(r["wavelength_vacuum_um"]) for r in flight[1::10]],
            "u_wavelength_nm": U_NM,
            "frequency_mhz": [1e-3 * float(r["rf_khz"]) for r in flight[1::10]],
            "u_frequency_mhz": U_MHZ,
        }
    )
    found = identify(six_peaks(flight), every_fifth(flight), widened=10, extrapolate=True, scale=fit_tuning(others))
    assert orders(found) == {f"p{o}": o for o in SIX}
    assert found.remaining == 1
    for peak, nm in found.wavelengths.items():
        true = next(1e3 * float(r["wavelength_vacuum_um"]) for r in flight if f"p{r['order']}" == peak)
        assert abs(nm.n - true) < 2.5 * nm.s < 0.01 * true


def test_first_wide_angle_filter_is_consistent_with_its_lines():
    # from memory: 180 MHz at 450 nm and 100 MHz at 700 nm; 3 % is what theory leaves of it
    lines = [CatalogueLine(f"{nm} nm", float(nm), 1.0, "", "") for nm in (450, 700)]
    found = identify({"high": ufloat(180.0, 3.0), "low": ufloat(100.0, 1.5)}, lines)
    assert orders(found) == {"high": "450 nm", "low": "700 nm"}
    assert found.best.consistent


def test_argon_and_helium_neon_lines_by_a_visible_filter():
    wanted = (
        "Ar+ 457.9",
        "Ar+ 488.0",
        "Ar+ 528.7",
        "He-Ne 543.4 (He-Ne green)",
        "Kr+ 568.2",
        "He-Ne 604.6",
        "Kr+ 647.1",
    )
    nm = {line.name: line.wavelength_nm for line in catalogue_lines()}
    f = parallel_tangent_frequency([nm[name] for name in wanted], 16.236, 561.0)
    found = identify([ufloat(x, 0.008) for x in f])
    assert [line.wavelength_nm for line in found.best.lines] == pytest.approx([nm[name] for name in wanted], abs=2e-3)
    assert found.best.consistent
