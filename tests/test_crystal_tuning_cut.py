"""The cut that fits, and where it says to look."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from uncertainties import ufloat

from aotf_lab.crystal import fit_cut, fit_tuning
from aotf_lab.errors import AotfLabError, MaterialError, OutOfRangeError, ReadingsError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.phase_matching import parallel_tangent_acoustic_angle, parallel_tangent_frequency
from aotf_lab.reading.readings import Readings
from tests.crystal_tuning_lines import skerry_lines, true_mhz


def guess(nm, mhz, u_mhz=0.5):
    return pd.DataFrame({"wavelength_nm": [nm], "u_wavelength_nm": 0.5, "frequency_mhz": mhz, "u_frequency_mhz": u_mhz})


def test_parallel_tangent_cut_is_found_again():
    nm = np.array([480.0, 560.0, 660.0])
    design = float(np.round(1 / np.mean(1 / nm)))
    table = pd.DataFrame({"wavelength_nm": nm, "frequency_mhz": parallel_tangent_frequency(nm, 14.0, design)})
    cut = fit_cut(table.assign(u_wavelength_nm=0.1, u_frequency_mhz=0.005))
    angle = float(parallel_tangent_acoustic_angle(design, 14.0))
    assert cut.incidence_deg.n == pytest.approx(14.0, abs=1e-3)
    assert cut.acoustic_angle_deg.n == pytest.approx(angle, abs=1e-3)
    assert cut.velocity_m_s.n == pytest.approx(float(slow_shear_velocity(angle)), abs=0.1)


def test_velocity_and_incidence_trade_and_the_text_says_so():
    cut = fit_cut(fit_tuning(skerry_lines(seed=1)))
    assert cut.trade < -0.99
    assert "velocity and incidence trade" in str(cut)
    assert "velocity and incidence trade" in cut._repr_html_()
    assert cut.fit.budget(cut.incidence_deg)["acoustic velocity"] > 0.95
    assert abs(cut.incidence_deg.n - 10.6) < 3 * cut.incidence_deg.s
    assert cut.fit.trusted


def test_known_velocity_settles_the_incidence():
    free = fit_cut(skerry_lines(seed=1))
    held = fit_cut(skerry_lines(seed=1), velocity_m_s=643.4)
    stated = fit_cut(skerry_lines(seed=1), velocity_m_s=ufloat(643.4, 1.0, tag="data sheet"))
    assert held.incidence_deg.s < 0.05 * free.incidence_deg.s
    assert held.velocity_m_s.s == 0
    assert held.trade == 0
    assert stated.fit.budget(stated.incidence_deg)["data sheet"] > 0.9
    assert stated.velocity_m_s.n == pytest.approx(643.4, abs=1.0)


def test_four_lines_say_where_to_look_far_from_them():
    cut = fit_cut(skerry_lines())
    for nm in (430.0, 449.73, 760.0):
        assert cut.frequency(nm).n == pytest.approx(float(true_mhz(nm)), abs=0.1)


def test_one_guess_says_where_to_look_before_any_light():
    cut = fit_cut(guess(633.0, 59.0))
    look = cut.frequency([450.0, 700.0])
    assert look[0].n == pytest.approx(float(true_mhz(450.0)), rel=0.02)
    assert 0.005 < look[0].s / look[0].n < 0.02


def test_time_base_is_in_the_prediction():
    time_base = CommonError("counter time base", "frequency_mhz", "relative", new_cause("counter time base", 1e-3))
    cut = fit_cut(Readings(skerry_lines(), (time_base,)))
    assert cut.fit.budget(cut.frequency(600.0))["counter time base"] > 0.9


def test_lines_that_no_cut_fits_scatter():
    table = skerry_lines()
    table.loc[1, "frequency_mhz"] += 1.0
    assert any(c.name == "scatter" for c in fit_cut(table).fit.failed)


def test_outside_the_published_dispersion():
    with pytest.raises(OutOfRangeError, match=r"wavelength lies outside .* 1064 nm; allowed: 400 to 1000 nm"):
        fit_cut(skerry_lines()).frequency(1064.0)


def test_frequency_that_no_cut_takes():
    says = r"no parallel-tangent cut takes this frequency \(MHz\) at 633 nm; found 5"
    with pytest.raises(AotfLabError, match=says):
        fit_cut(guess(633.0, 5.0, 0.05))


def test_crystal_without_velocity():
    says = "no packaged acoustic velocity for this crystal; found 'quartz'; allowed: TeO2"
    with pytest.raises(MaterialError, match=says):
        fit_cut(guess(633.0, 59.0), material="quartz")


def test_exchanged_labels():
    table = skerry_lines()
    table["frequency_mhz"] = table["frequency_mhz"].to_numpy()[[1, 0, 2, 3]]
    with pytest.raises(ReadingsError, match=r"labels of B \(lines.csv:2\) and D \(lines.csv:3\) seem to be exchanged"):
        fit_cut(table)
