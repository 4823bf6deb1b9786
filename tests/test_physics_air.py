"""Behaviour of the air's index and of the wavelengths."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.air import air_index, air_to_vacuum, saturation_vapour_pressure_pa, vacuum_to_air


@settings(max_examples=40, deadline=None)
@given(wavelength_nm=st.floats(300.0, 1600.0), temperature_c=st.floats(0.0, 60.0))
def test_vacuum_and_air_are_inverse(wavelength_nm, temperature_c):
    for kind in ({}, {"index": partial(air_index, temperature_c=temperature_c)}):
        assert air_to_vacuum(vacuum_to_air(wavelength_nm, **kind), **kind) == pytest.approx(wavelength_nm, abs=1e-9)


def test_arguments_broadcast_and_a_scalar_stays_one():
    assert air_index([500.0, 600.0], np.array([[10.0], [20.0], [30.0]])).shape == (3, 2)
    assert isinstance(air_index(500.0), np.float64)
    assert isinstance(air_to_vacuum(500.0), np.float64)


def test_warm_damp_and_thin_air_bend_less():
    plain = air_index(550.0)
    assert air_index(550.0, temperature_c=25.0) < plain
    assert air_index(550.0, pressure_pa=99000.0) < plain
    assert air_index(550.0, humidity_percent=90.0) < plain
    assert air_index(550.0, co2_ppm=600.0) > plain


@pytest.mark.parametrize("humidity_percent", [-1.0, 101.0, np.nan])
def test_impossible_humidity(humidity_percent):
    with pytest.raises(AotfLabError, match=rf"relative humidity .*found {humidity_percent:g}; allowed: 0 to 100 %"):
        air_index(550.0, humidity_percent=humidity_percent)


@pytest.mark.parametrize("temperature_c", [-1.0, 293.15])
def test_temperature_outside_the_vapour_pressure(temperature_c):
    with pytest.raises(AotfLabError, match=rf"found {temperature_c:g}; allowed: 0 to 100 C; .*degrees Celsius"):
        saturation_vapour_pressure_pa(temperature_c)
