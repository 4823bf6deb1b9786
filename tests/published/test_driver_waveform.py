"""The sine fit against independent solvers, the Cramer-Rao bound, Fourier series and exact integrals."""

from __future__ import annotations

import lmfit
import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad
from scipy.optimize import least_squares

from aotf_lab.driver.waveform import fit_waveform
from aotf_lab.driver.waveform.harmonics import fit_harmonics
from aotf_lab.reading import Instruments, Scope
from tests.driver_traces import trace

ORDERS = (1, 2, 3, 4, 5)
STRONG = {2: (-19.0, 1.0), 3: (-24.0, 2.0), 4: (-28.0, 0.3), 5: (-31.0, 5.0)}
PLAIN = Instruments(scope=Scope(probe=1.0, pad_db=0.0, load_ohm=50.0))


def model(values, time_us):
    """Return offset + sum of cosines and sines; values = frequency, offset, then both amplitudes of each order."""
    phase = 2 * np.pi * values[0] * time_us
    wave = np.full(time_us.size, values[1])
    for k, order in enumerate(ORDERS):
        wave = wave + values[2 + 2 * k] * np.cos(order * phase) + values[3 + 2 * k] * np.sin(order * phase)
    return wave


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("samples", [150, 2000])
def test_the_fit_against_scipy_least_squares(seed, samples):
    # Independent solver: scipy.optimize.least_squares (MINPACK), started beside the true values.
    frequency = np.random.default_rng(seed).uniform(44, 96)
    table = trace(frequency, samples=samples, harmonics=STRONG, seed=seed)
    time, signal = 1e6 * table["time_s"].to_numpy(), table["signal_v"].to_numpy()
    ours = fit_harmonics(time, signal, ORDERS, frequency * (1 + 1e-4))
    start = np.concatenate(([frequency, 0.0, 0.3, 0.3], np.full(8, 0.01)))
    theirs = least_squares(
        lambda v: model(v, time - ours.middle_us) - signal, start, method="lm", jac="3-point", xtol=1e-15, ftol=1e-15,
        gtol=1e-15, x_scale=np.concatenate(([1e-3], np.full(11, 0.1))),
    )  # fmt: skip
    np.testing.assert_allclose(ours.values[0], theirs.x[0], rtol=1e-9)
    np.testing.assert_allclose(ours.values[1:], theirs.x[1:], rtol=0, atol=1e-9 * ours.amplitude_v)
    covariance = 2 * theirs.cost / ours.dof * np.linalg.inv(theirs.jac.T @ theirs.jac)
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)), np.sqrt(np.diag(covariance)), rtol=1e-5)


def test_the_fit_against_lmfit():
    # Independent solver: lmfit, with its own scaling and its own covariance by differences.
    table = trace(71.3, harmonics=STRONG, seed=5)
    time, signal = 1e6 * table["time_s"].to_numpy(), table["signal_v"].to_numpy()
    ours = fit_harmonics(time, signal, ORDERS, 71.3)
    parameters = lmfit.Parameters()
    for k, value in enumerate((71.3, 0.0, 0.3, 0.3, *[0.01] * 8)):
        parameters.add(f"p{k}", value)
    found = lmfit.minimize(
        lambda p: model([p[f"p{k}"].value for k in range(12)], time - ours.middle_us) - signal, parameters,
        xtol=1e-14, ftol=1e-14, gtol=0.0,
    )  # fmt: skip
    theirs = np.array([found.params[f"p{k}"].value for k in range(12)])
    np.testing.assert_allclose(ours.values[0], theirs[0], rtol=1e-9)
    np.testing.assert_allclose(ours.values[1:], theirs[1:], rtol=0, atol=1e-8 * ours.amplitude_v)
    u = np.array([found.params[f"p{k}"].stderr for k in range(12)])
    np.testing.assert_allclose(np.sqrt(np.diag(ours.covariance)), u, rtol=1e-3)


def cramer_rao(amplitude: float, noise: float, samples: int, interval_us: float) -> tuple[float, float, float]:
    """Return the least standard deviations of frequency (MHz), amplitude and offset of a sine.

    Kay, Fundamentals of Statistical Signal Processing I (1993), example 3.14: var(A) >= 2 s^2 / N and
    var(f) >= 12 / ((2 pi)^2 eta N (N^2 - 1)) per sample^2, eta = A^2 / 2 s^2. Mean of N readings: s^2 / N.
    """
    eta = amplitude**2 / (2 * noise**2)
    frequency = (12 / ((2 * np.pi) ** 2 * eta * samples * (samples**2 - 1))) ** 0.5 / interval_us
    return frequency, noise * (2 / samples) ** 0.5, noise / samples**0.5


def test_stated_uncertainties_are_those_of_the_bound():
    wave = fit_waveform(trace(bits=0, noise_v=0.01))
    bound = cramer_rao(0.6, wave.noise_v, 2000, 1e-3)
    stated = (wave.fit.parameters["frequency (MHz)"].s, wave.amplitude_v.s, wave.offset_v.s)
    np.testing.assert_allclose(stated, bound, rtol=3e-3)
    assert wave.noise_v == pytest.approx(0.01, rel=0.05)


def test_scatter_of_the_fit_reaches_the_bound():
    # 400 traces of 500 samples at 30 dB; a ratio of variances of 400 scatters by 7 %. The benchmark takes 2,000.
    errors = []
    noise, amplitude = 0.02, 0.6325
    for seed in range(400):
        frequency = np.random.default_rng([7, seed]).uniform(44, 96)
        table = trace(frequency, samples=500, interval_ns=0.8, amplitude_v=amplitude, noise_v=noise, seed=seed)
        wave = fit_waveform(table)
        errors.append([wave.fit.values[0] - frequency, wave.amplitude_v.n - amplitude, wave.offset_v.n - 0.01])
    bound = cramer_rao(amplitude, np.hypot(noise, 1.6 / 256 / 12**0.5), 500, 0.8e-3)
    ratio = np.mean(np.square(errors), axis=0) / np.square(bound)
    assert (ratio < 1.25).all()
    assert (ratio > 0.8).all()


def test_noise_of_an_ideal_converter():
    # IEEE Std 1057: a full-scale sine on an ideal converter of b bits has 6.02 b + 1.76 dB of signal over noise.
    for bits in (6, 8, 10):
        table = trace(61.803, bits=bits, amplitude_v=0.8 * (1 - 2.0 ** -(bits - 1)), noise_v=0.0, offset_v=0.0)
        noise_v = fit_waveform(table).noise_v
        assert 20 * np.log10(0.8 / 2**0.5 / noise_v) == pytest.approx(6.02 * bits + 1.76, abs=0.25)


def test_harmonics_of_a_triangle():
    # Fourier series of the triangle of height 1: 8 / pi^2 at the fundamental, 1 / n^2 of it at odd n, none at even n.
    time_us = 1e-3 * 0.1 * np.arange(20000)
    phase = np.mod(11.7 * time_us + 0.2, 1.0)
    wave = fit_waveform(pd.DataFrame({"time_s": 1e-6 * time_us, "signal_v": 1 - 4 * np.abs(phase - 0.5)}))
    assert wave.amplitude_v.n == pytest.approx(8 / np.pi**2, rel=1e-4)
    levels = {h.order: h.shown.n for h in wave.harmonics}
    assert levels[3] == pytest.approx(1 / 81, rel=1e-3)
    assert levels[5] == pytest.approx(1 / 625, rel=5e-3)
    assert levels[2] == pytest.approx(0, abs=1e-6)
    assert "rest is noise" in {c.name for c in wave.fit.failed}  # order 7 and beyond are not fitted


def test_harmonics_of_a_square():
    # Fourier series of the square of height 1: 4 / pi at the fundamental, 1 / n of it at odd n.
    time_us = 1e-3 * 0.1 * np.arange(20000)
    signal = np.where(np.mod(11.7 * time_us + 0.2, 1.0) < 0.5, 1.0, -1.0)
    found = fit_harmonics(time_us, signal, ORDERS, 11.7)
    amplitudes = np.hypot(found.values[2::2], found.values[3::2])
    np.testing.assert_allclose(amplitudes, 4 / np.pi * np.array([1, 0, 1 / 3, 0, 1 / 5]), atol=1.5e-3)


@pytest.mark.parametrize("seed", range(6))
def test_power_against_the_exact_integral(seed):
    # Power of the whole wave: the integral of u^2 / R over one period, by quadrature.
    rng = np.random.default_rng(seed)
    frequency, offset = rng.uniform(44, 96), rng.uniform(-0.05, 0.05)
    harmonics = {k: (rng.uniform(-30, -9), rng.uniform(0, 2 * np.pi)) for k in (2, 3, 4, 5)}

    def volts(x: float) -> float:
        return offset + 0.4 * (np.cos(x) + sum(10 ** (d / 20) * np.cos(k * x - p) for k, (d, p) in harmonics.items()))

    whole = quad(lambda x: volts(x) ** 2 / 50, 0, 2 * np.pi, limit=200)[0] / (2 * np.pi)
    cosine = quad(lambda x: volts(x) * np.cos(x), 0, 2 * np.pi, limit=200)[0] / np.pi
    table = trace(frequency, amplitude_v=0.4, offset_v=offset, harmonics=harmonics, noise_v=0.002, seed=seed)
    wave = fit_waveform(table, PLAIN)
    assert wave.rf_power_w.n == pytest.approx(cosine**2 / 2 / 50, rel=2e-3)
    assert (wave.rf_power_w * (1 + wave.rms_excess)).n + wave.offset_v.n**2 / 50 == pytest.approx(whole, rel=2e-3)


def test_ten_per_cent_of_power_at_minus_10_dbc():
    # Volts rms by quadrature, squared, over those of the fundamental alone.
    def volts(x: float) -> float:
        return np.cos(x) + 10**-0.5 * np.cos(2 * x - 0.8)

    true = quad(lambda x: volts(x) ** 2, 0, 2 * np.pi)[0] / np.pi - 1
    assert true == pytest.approx(0.10, abs=1e-12)
    wave = fit_waveform(trace(amplitude_v=0.5, harmonics={2: (-10.0, 0.8)}), PLAIN)
    assert wave.rms_excess.n == pytest.approx(true, abs=4 * wave.rms_excess.s)
