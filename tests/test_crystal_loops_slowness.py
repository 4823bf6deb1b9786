"""Slowness curves in the plane of the cut, drawn and in words."""

import numpy as np
import pytest

from aotf_lab.crystal.loops import slowness_curves
from aotf_lab.errors import MaterialError
from aotf_lab.physics.acoustics import slow_shear_velocity


def test_slow_curve_of_the_cut_plane_is_the_packaged_law():
    curves = slowness_curves(5.3)
    quarter = curves.angle_deg <= 90.0
    expected = 1e3 / slow_shear_velocity(curves.angle_deg[quarter])
    np.testing.assert_allclose(curves.slowness_s_km[quarter, 0], expected, rtol=1e-12)
    assert curves.slowness_s_km.shape == (len(curves.angle_deg), 3)


def test_energy_runs_along_the_normal_of_the_drawn_curve():
    curves = slowness_curves(5.25)
    turn = np.radians(curves.angle_deg)
    for wave in range(3):
        slow = curves.slowness_s_km[:, wave]
        k = int(np.argmin(np.abs(curves.angle_deg - 5.25)))
        x, y = slow * np.cos(turn), slow * np.sin(turn)
        normal = np.degrees(np.arctan2(x[k - 1] - x[k + 1], y[k + 1] - y[k - 1]))
        assert curves.energy_deg[wave] == pytest.approx(normal, abs=0.1)


def test_across_the_axis_the_slow_wave_makes_the_star():
    curves = slowness_curves(45.0, (1, 0, 0), (0, 1, 0))
    assert curves.names == ("[100]", "[010]")
    slow = curves.slowness_s_km[:, 0]
    assert curves.angle_deg[np.argmax(slow[:720])] == 45.0
    assert 1e3 / slow.max() == pytest.approx(617.0, abs=1e-6)


def test_words_and_picture():
    curves = slowness_curves(5.3)
    assert "slow shear    644.4 m/s, energy at 47.2 deg" in str(curves)
    assert "<caption>Sound at 5.3 deg from [110] towards [001]</caption>" in curves._repr_html_()
    ax = curves.plot()
    assert ax.get_aspect() == 1.0
    assert ax.get_xlabel() == "Slowness along [110] (s/km)"
    assert "its energy at 47.2°" in {t.get_text() for t in ax.get_legend().get_texts()}


def test_other_crystal():
    with pytest.raises(MaterialError, match=r"no packaged elastic constants .*; found 'LiNbO3 congruent'; allowed"):
        slowness_curves(material="LiNbO3 congruent")
