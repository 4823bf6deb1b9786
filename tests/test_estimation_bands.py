"""The band of the curve and the band of the next reading."""

import numpy as np
import pytest
from scipy import stats

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation import FittedFunction, Parameter, confidence_band, prediction_band, weighted_fit

X = np.linspace(0.0, 4.0, 9)
AT = np.array([-0.5, 2.0, 3.7])
U = 0.2


def line(x, a, b):
    return a + b * x


def curve_of(y, u_y=U):
    return FittedFunction(weighted_fit(line, [Parameter("a", 0.0), Parameter("b", 1.0)], X, y, u_y), line)


def leverage(at):
    return 1 / 9 + (at - X.mean()) ** 2 / np.sum((X - X.mean()) ** 2)


def ends(middle, half):
    return middle - half, middle + half


def test_bands_of_a_line_are_those_of_the_textbook():
    # Working & Hotelling form of a straight line's bands, point by point, e.g. ISO 11095:1996.
    curve = curve_of(1 + 2 * X)
    k = stats.norm.ppf(0.95)
    middle = 1 + 2 * AT
    np.testing.assert_allclose(confidence_band(curve, AT, 0.9), ends(middle, k * U * np.sqrt(leverage(AT))), rtol=1e-7)
    np.testing.assert_allclose(
        prediction_band(curve, AT, U, 0.9), ends(middle, k * U * np.sqrt(1 + leverage(AT))), rtol=1e-7
    )


def test_bands_hold_what_they_promise():
    rng = np.random.default_rng(3)
    held = np.zeros((2, 3))
    for _ in range(600):
        curve = curve_of(1 + 2 * X + U * rng.normal(size=9), None)
        truth, reading = 1 + 2 * AT, 1 + 2 * AT + U * rng.normal(size=3)
        for row, (band, value) in enumerate(
            ((confidence_band(curve, AT), truth), (prediction_band(curve, AT), reading))
        ):
            held[row] += (band[0] <= value) & (value <= band[1])
    # 600 draws of a 95 % band: 570 +- 5.3; four standard deviations.
    assert np.all(np.abs(held - 570) < 22)


def test_band_of_the_next_reading_uses_the_scatter_that_was_seen():
    noise = np.tile([1.0, -1.0, 0.0], 3)
    wild = curve_of(1 + 2 * X + noise)
    assert wild.fit.birge > 2
    low, high = prediction_band(wild, AT, U)
    half = stats.t.ppf(0.975, wild.fit.dof) * np.hypot(wild.u(AT), U * wild.fit.birge)
    np.testing.assert_allclose((high - low) / 2, half)


def test_reading_of_no_stated_accuracy_has_no_band():
    with pytest.raises(AotfLabError, match="uncertainty of the next reading; found 'none'; allowed: zero or more"):
        prediction_band(curve_of(1 + 2 * X), AT)
    with pytest.raises(AotfLabError, match=r"uncertainty of the next reading; found -1; allowed: zero or more"):
        prediction_band(curve_of(1 + 2 * X), AT, -1.0)
    with pytest.raises(AotfLabError, match=r"coverage probability; found 1; allowed: between 0 and 1"):
        confidence_band(curve_of(1 + 2 * X), AT, 1.0)
