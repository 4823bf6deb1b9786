"""The shape of a scan: coupled waves, lean, and a meter that trails.

Outside: constants of coupled waves (shared/acousto_optics_facts.csv, derived from Yariv & Yeh, Optical Waves in
Crystals), and scipy's integration of the meter's differential equation.
"""

import csv
import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from aotf_lab.crystal.scan.model import (
    DRIVE_LIMITS,
    ScanModel,
    detuning_of,
    passband,
    skewed_detuning,
    time_constant_in_steps,
)
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm, peak_efficiency
from tests.house import ROOT


def _fact(name):
    with (ROOT / "shared" / "acousto_optics_facts.csv").open(encoding="utf-8") as file:
        return float(next(row["value"] for row in csv.DictReader(file) if row["fact"] == name).split()[0])


def _width(offsets, shape):
    """Return the full width at half of the peak by linear interpolation on a fine grid."""
    middle = int(np.argmax(shape))
    return np.interp(-0.5, -shape[middle:], offsets[middle:]) - np.interp(
        0.5, shape[: middle + 1], offsets[: middle + 1]
    )


@pytest.mark.parametrize("drive", [0.0, 0.3, 1.0, 1.6, 2.3])
@pytest.mark.parametrize("skew", [-0.2, 0.0, 0.1])
def test_the_width_is_the_full_width_at_half_of_the_peak(drive, skew):
    f = np.linspace(63.8, 64.2, 200_001)
    shape = passband(f, 64.0, 0.3, skew, drive)
    assert _width(f, shape) == pytest.approx(0.3, abs=1e-6)
    assert f[np.argmax(shape)] == pytest.approx(64.0, abs=5e-6)


@pytest.mark.parametrize(
    ("drive", "fact"),
    [(0.0, "first sidelobe, weak drive"), (1.0, "first sidelobe at full drive (P=P_sat)")],
)
def test_sidelobes_of_coupled_waves(drive, fact):
    f = np.linspace(64.3, 64.7, 100_001)
    highest = float(passband(f, 64.0, 0.3, 0.0, drive).max())
    assert 10 * math.log10(highest) == pytest.approx(_fact(fact), abs=0.005)


def test_the_passband_narrows_with_drive_as_coupled_waves_do():
    per_mhz = [float(detuning_of(np.array([64.15]), 64.0, 0.3, 0.0, drive)[0]) for drive in (0.0, 1.0)]
    assert per_mhz[0] == pytest.approx(math.pi / 2 * _fact("weak-drive passband FWHM / first-null spacing"), abs=1e-5)
    ratio = _fact("passband FWHM at P=P_sat / FWHM at weak drive")
    assert per_mhz[1] / per_mhz[0] == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize("drive", [0.0, 0.05, 0.7, 1.0, 2.0])
def test_same_shape_as_the_physics_room(drive):
    f = np.linspace(63.0, 65.0, 101)
    detuning = math.pi * float(passband_fwhm(drive)) * (f - 64.0) / 0.3
    expected = (
        diffraction_efficiency(detuning, drive) / peak_efficiency(drive) if drive else np.sinc(detuning / np.pi) ** 2
    )
    np.testing.assert_allclose(passband(f, 64.0, 0.3, 0.0, drive), expected, atol=1e-12)


def test_the_shape_goes_on_smoothly_through_zero_drive():
    f = np.linspace(63.2, 64.8, 161)
    below, at, above = (passband(f, 64.0, 0.3, 0.05, drive) for drive in (-1e-3, 0.0, 1e-3))
    np.testing.assert_allclose(at - below, above - at, atol=2e-6)
    assert np.isfinite(passband(f, 64.0, 0.3, 0.05, DRIVE_LIMITS[0])).all()


def test_a_positive_lean_lets_the_light_fall_later_above_the_peak():
    shape = passband(np.array([63.9, 64.1]), 64.0, 0.3, 0.1)
    assert shape[1] > shape[0]
    assert skewed_detuning(np.array([0.0]), 0.3)[0] == 0.0


def _run(points, steps):
    return ScanModel(np.concatenate([[np.inf], np.ones(points - 1)]), np.ones(points), 0.5, None), (
        64.0, 0.3, 1.0, 0.002, 0.05, steps,
    )  # fmt: skip


def test_the_trailing_meter_solves_its_differential_equation():
    """dI/dt = (P - I) / tau with P constant over each step, integrated by scipy."""
    dwell, tau = 0.5, 0.9
    f = 64.0 + 0.034 * np.arange(-15, 16)
    model, values = _run(len(f), time_constant_in_steps(tau, dwell))
    power = model.settled(f, *values)
    state, expected = power[0], [power[0]]
    for p in power[1:]:
        solved = solve_ivp(lambda t, i, p=p: (p - i) / tau, (0.0, dwell), [state], rtol=1e-10, atol=1e-12)
        state = float(solved.y[0, -1])
        expected.append(state)
    np.testing.assert_allclose(model(f, *values), expected, atol=1e-5)


def test_uneven_times_keep_the_memory_of_the_time_that_passed():
    dwell, tau = 0.5, 0.9
    lapse = np.array([np.inf, 1.0, 2.0, 0.5, 1.0])
    model = ScanModel(lapse, np.ones(5), 0.5, None)
    values = (64.0, 0.3, 1.0, 0.0, 0.0, time_constant_in_steps(tau, dwell))
    np.testing.assert_allclose(model.kept(values)[1:], np.exp(-lapse[1:] * dwell / tau), rtol=1e-3)
    assert model.kept(values)[0] == 0.0


def test_a_steady_slope_trails_by_the_lag():
    model, values = _run(400, 2.5)
    ramp = np.arange(400.0)
    assert ramp[-1] - model.trailing(ramp, values)[-1] == pytest.approx(2.5, abs=1e-9)
    np.testing.assert_allclose(model.trailing(np.eye(400), values) @ ramp, model.trailing(ramp, values), atol=1e-9)


def test_no_lag_shows_the_light_itself():
    model, values = _run(5, 0.0)
    light = np.array([1.0, 2.0, 4.0, 2.0, 1.0])
    np.testing.assert_array_equal(model.trailing(light, values), light)
    assert time_constant_in_steps(0.0, 0.5) == 0.0
