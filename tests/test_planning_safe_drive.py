"""The rating holds for the upper bound of the true power, not for the estimate."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from uncertainties import ufloat

from aotf_lab.errors import UnsafeDriveError
from aotf_lab.estimation import CommonError, new_cause
from aotf_lab.planning import highest_safe_power, require_safe, upper_bound
from aotf_lab.planning.safe_drive import true_power


def scale(u_gain=0.025, u_pad=0.023):
    gain = CommonError("scope gain", "rf_power_w", "relative", new_cause("scope gain", u_gain), 2.0)
    pad = CommonError("pad", "rf_power_w", "relative", new_cause("pad", u_pad))
    return (gain, pad)


def test_upper_bound_is_the_97_5_percent_point_of_the_normal_law():
    assert upper_bound(ufloat(1.0, 0.1)) == pytest.approx(stats.norm(1.0, 0.1).ppf(0.975))
    assert upper_bound(0.5) == 0.5


def test_true_power_exceeds_the_rating_in_2_5_percent_of_benches():
    # 40,000 draws of the shared errors, first order as in JCGM 100:2008; expected 2.5 %, standard error 0.08 %
    generator = np.random.default_rng(4)
    indicated = highest_safe_power(0.8, scale())
    gain, pad = generator.normal(0, 0.025, 40_000), generator.normal(0, 0.023, 40_000)
    share = np.mean(indicated * (1 + 2 * gain) * (1 + pad) > 0.8)
    assert 0.022 < share < 0.029


def test_highest_safe_power_is_just_allowed_and_a_little_more_is_not():
    errors = scale()
    limit = highest_safe_power(0.8, errors)
    assert limit < 0.8
    require_safe(true_power(limit, errors), 0.8, "E")
    with pytest.raises(UnsafeDriveError, match=r"E: RF power could exceed .* allowed: at most 0.8 W"):
        require_safe(true_power(1.01 * limit, errors), 0.8, "E")


def test_without_scale_errors_the_rating_itself_is_allowed():
    assert highest_safe_power(0.8, ()) == pytest.approx(0.8)


def noise(u_w):
    return CommonError("noise", "rf_power_w", "offset", new_cause("noise", u_w))


def test_an_error_in_watts_counts_at_the_power_that_is_asked_for():
    errors = (*scale(), noise(0.05))
    limit = highest_safe_power(0.8, errors)
    relative = float(np.hypot(2 * 0.025, 0.023))
    assert limit + stats.norm.ppf(0.975) * np.hypot(relative * limit, 0.05) == pytest.approx(0.8)
    require_safe(true_power(limit, errors), 0.8, "E")


def test_an_error_in_watts_above_the_rating():
    with pytest.raises(UnsafeDriveError, match=r"no RF power at all: RF power could exceed .* allowed: at most 0.8 W"):
        highest_safe_power(0.8, (noise(1.0),))
