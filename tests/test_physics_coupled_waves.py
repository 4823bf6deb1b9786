"""Coupled waves against a direct solution, and their behaviour."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.optimize import brentq

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.coupled_waves import (
    detuning_for_light,
    diffraction_efficiency,
    light_lost,
    passband_fwhm,
    peak_efficiency,
    sidelobe_level_db,
)

few = settings(max_examples=40, deadline=None)
RATIOS = [1e-6, 0.1, 0.5, 1.0, 1.7, 2.5, 3.9]


@few
@given(detuning=st.floats(-12.0, 12.0), drive_ratio=st.floats(0.0, 6.0))
def test_efficiency_solves_the_coupled_equations(detuning, drive_ratio):
    q = np.pi / 2 * np.sqrt(drive_ratio)
    transfer = expm(1j * np.array([[detuning, q], [q, -detuning]]))
    assert diffraction_efficiency(detuning, drive_ratio) == pytest.approx(abs(transfer[1, 0]) ** 2, abs=1e-12)


def test_no_drive_and_no_detuning():
    assert diffraction_efficiency(0.0, 0.0) == 0.0
    np.testing.assert_allclose(diffraction_efficiency(0.0, RATIOS), peak_efficiency(RATIOS), rtol=1e-12)


def test_detuning_and_drive_broadcast():
    assert diffraction_efficiency(np.zeros((5, 1)), np.ones(3)).shape == (5, 3)
    for value in (diffraction_efficiency(0.1, 0.5), peak_efficiency(0.5), passband_fwhm(0.5), light_lost(0.1)):
        assert isinstance(value, np.float64)


@pytest.mark.parametrize("drive_ratio", RATIOS)
def test_width_by_root_finding_on_the_curve_itself(drive_ratio):
    in_tune = float(peak_efficiency(drive_ratio))
    null = np.pi * np.sqrt(1.0 - drive_ratio / 4.0)
    half = brentq(lambda d: float(diffraction_efficiency(d, drive_ratio)) - in_tune / 2, 0.0, null, xtol=1e-14)
    assert passband_fwhm(drive_ratio) == pytest.approx(2 * half / np.pi, rel=1e-9)


@pytest.mark.parametrize("drive_ratio", RATIOS)
def test_sidelobe_by_scanning_the_curve_itself(drive_ratio):
    null = np.pi * np.sqrt(1.0 - drive_ratio / 4.0)
    scan = diffraction_efficiency(np.linspace(null, null + np.pi, 20001), drive_ratio)
    expected = 10 * np.log10(scan.max() / peak_efficiency(drive_ratio))
    assert sidelobe_level_db(drive_ratio) == pytest.approx(expected, abs=1e-4)


@few
@given(fraction=st.floats(0.0, 1.0))
def test_light_and_offset_are_inverse(fraction):
    assert 1.0 - light_lost(detuning_for_light(fraction)) == pytest.approx(fraction, abs=1e-9)


def test_light_lost_is_even_and_flat_in_tune():
    offsets = np.linspace(0.0, 1.0, 101)
    np.testing.assert_array_equal(light_lost(-offsets), light_lost(offsets))
    assert light_lost(0.0) == 0.0
    assert np.all(np.diff(light_lost(offsets)) > 0)


@pytest.mark.parametrize("function", [peak_efficiency, passband_fwhm, sidelobe_level_db])
@pytest.mark.parametrize("drive_ratio", [-0.1, np.nan])
def test_impossible_drive(function, drive_ratio):
    with pytest.raises(AotfLabError, match=rf"drive ratio P / P_sat without a meaning here; found {drive_ratio:g}"):
        function([0.5, drive_ratio])


@pytest.mark.parametrize("function", [passband_fwhm, sidelobe_level_db])
def test_nothing_is_left_in_tune_at_four_times_saturation(function):
    with pytest.raises(AotfLabError, match=r"found 4; allowed: 0 to below 4"):
        function(4.0)


@pytest.mark.parametrize("fraction", [-0.01, 1.01])
def test_impossible_share_of_light(fraction):
    with pytest.raises(AotfLabError, match=rf"found {fraction:g}; allowed: 0 to 1; give the share that is left"):
        detuning_for_light(fraction)
