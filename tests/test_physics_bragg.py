"""What the formulas of the Bragg cell refuse, and their shapes."""

import numpy as np
import pytest

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.bragg import bragg_angle_deg, separation_deg


def test_arguments_broadcast():
    assert separation_deg(np.array([500.0, 600.0]), 80.0, 4200.0).shape == (2,)


def test_inside_is_smaller_by_the_index():
    inside, outside = bragg_angle_deg(633.0, 80.0, 4200.0, 2.26), bragg_angle_deg(633.0, 80.0, 4200.0)
    assert float(np.sin(np.radians(outside)) / np.sin(np.radians(inside))) == pytest.approx(2.26)


@pytest.mark.parametrize(("nm", "mhz"), [(633.0, 9e6), (633.0, -80.0)])
def test_sound_without_an_angle(nm, mhz):
    with pytest.raises(AotfLabError, match="sine of the Bragg angle; found"):
        bragg_angle_deg(nm, mhz, 600.0)
