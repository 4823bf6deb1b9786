"""Behaviour of the RF conversions."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from aotf_lab.errors import AotfLabError
from aotf_lab.physics import rf

few = settings(max_examples=40, deadline=None)


@few
@given(power_w=st.floats(1e-9, 1e3), load_ohm=st.floats(1.0, 1e3))
def test_powers_and_levels_are_inverse(power_w, load_ohm):
    assert rf.dbm_to_watt(rf.watt_to_dbm(power_w)) == pytest.approx(power_w, rel=1e-12)
    assert rf.rms_to_watt(rf.watt_to_rms(power_w, load_ohm), load_ohm) == pytest.approx(power_w, rel=1e-12)


@few
@given(return_loss_db=st.floats(0.1, 60.0))
def test_reflections_are_inverse(return_loss_db):
    vswr = rf.vswr_from_return_loss(return_loss_db)
    assert rf.return_loss_from_vswr(vswr) == pytest.approx(return_loss_db, rel=1e-9)
    delivered = 1.0 / rf.attenuation_factor(rf.mismatch_loss_db(return_loss_db))
    assert delivered + 1.0 / rf.attenuation_factor(return_loss_db) == pytest.approx(1.0, rel=1e-12)


def test_uncertainty_passes_through_and_stays_correlated():
    level = ufloat(6.2, 0.1)
    power = rf.rms_to_watt(level)
    assert power.s == pytest.approx(2 * 6.2 * 0.1 / 50.0, rel=1e-9)
    assert (rf.watt_to_rms(power) - level).s == pytest.approx(0.0, abs=1e-12)
    assert rf.attenuation_factor(ufloat(30.0, 0.1)).s == pytest.approx(1000.0 * 0.1 * 0.2302585, rel=1e-6)


@pytest.mark.parametrize("power_w", [0.0, -0.5, float("nan")])
def test_power_without_a_level(power_w):
    with pytest.raises(AotfLabError, match=rf"power without a level in dBm; found {power_w:g}; allowed: above 0 W"):
        rf.watt_to_dbm([0.1, power_w])


@pytest.mark.parametrize("function", [rf.vswr_from_return_loss, rf.mismatch_loss_db])
@pytest.mark.parametrize("return_loss_db", [0.0, -12.0])
def test_negative_return_loss(function, return_loss_db):
    with pytest.raises(AotfLabError, match=rf"found {return_loss_db:g}; allowed: above 0 dB; .*sign turned"):
        function(return_loss_db)


@pytest.mark.parametrize("vswr", [1.0, 0.8])
def test_impossible_vswr(vswr):
    with pytest.raises(AotfLabError, match=rf"VSWR without a return loss; found {vswr:g}; allowed: above 1"):
        rf.return_loss_from_vswr(vswr)
