"""Behaviour of the indices: range, materials, the moved pole, shapes."""

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError, MaterialError
from aotf_lab.physics.acoustics import slow_shear_velocity
from aotf_lab.physics.indices import (
    birefringence,
    extraordinary_index,
    known_materials,
    optical_range_nm,
    ordinary_index,
)


@pytest.mark.parametrize("function", [ordinary_index, extraordinary_index, birefringence])
def test_shape_follows_the_wavelengths(function):
    assert function(np.full((2, 3), 500.0)).shape == (2, 3)
    assert isinstance(function(500.0), np.float64)
    assert function([500.0])[0] == function(500.0)


def test_unknown_material_lists_the_known_ones():
    with pytest.raises(MaterialError, match=r"found 'glass'; allowed: TeO2, LiNbO3 congruent, quartz"):
        ordinary_index(500.0, "glass")
    with pytest.raises(MaterialError, match=r"found 'TeO3'"):
        optical_range_nm("TeO3")


@pytest.mark.parametrize("wavelength_nm", [399.9, 1000.1, 0.5893, np.nan])
def test_outside_the_fit_is_refused_with_the_value(wavelength_nm):
    with pytest.raises(MaterialError, match=rf"found {wavelength_nm} nm; allowed: 400 to 1000 nm"):
        birefringence([500.0, wavelength_nm])


def test_extrapolation_only_when_asked_for():
    assert 0.1 < float(birefringence(2500.0, extrapolate=True)) < float(birefringence(1000.0))


@pytest.mark.parametrize("material", known_materials())
def test_ends_of_every_range_are_inside(material):
    for ray in (ordinary_index, extraordinary_index):
        assert np.all(np.diff(ray(np.linspace(*optical_range_nm(material), 200), material)) < 0)


@pytest.mark.parametrize(("material", "pole_nm"), [("TeO2", 263.1), ("LiNbO3 congruent", 258.07), ("quartz", 101.045)])
def test_moved_pole_is_the_longest_ultraviolet_one(material, pole_nm):
    # Only that pole moved the singularity: n_e diverges just above where the pole now lies.
    near_nm = pole_nm + 1.0 + 1e-2
    plain = extraordinary_index(near_nm, material, extrapolate=True)
    moved = extraordinary_index(near_nm, material, pole_shift_nm=1.0, extrapolate=True)
    assert moved > 3 * plain
    assert extraordinary_index(600.0, material, pole_shift_nm=1.0) > extraordinary_index(600.0, material)


def test_moved_pole_leaves_the_ordinary_ray():
    change = birefringence(600.0, pole_shift_nm=1.0) - birefringence(600.0)
    assert change == pytest.approx(
        extraordinary_index(600.0, pole_shift_nm=1.0) - extraordinary_index(600.0), rel=1e-12
    )


def test_velocity_is_even_and_rises_from_110():
    angles = np.linspace(0.0, 90.0, 91)
    assert np.all(np.diff(slow_shear_velocity(angles)) > 0)
    np.testing.assert_array_equal(slow_shear_velocity(-angles), slow_shear_velocity(angles))


def test_velocity_beyond_the_axis_is_refused():
    with pytest.raises(AotfLabError, match=r"acoustic angle beyond \[001\]; found 91; allowed: -90 to 90"):
        slow_shear_velocity([3.0, 91.0])
