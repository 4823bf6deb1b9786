"""The light of a line while the frequency is swept across its passband.

The passband in weak drive is sinc^2(a u), u the offset over its FWHM, a = 0.88589 (``physics.coupled_waves``). Its
Fourier transform is a triangle that ends at a. What blurs the pulse multiplies that: the beam, a Gaussian of
standard deviation s (frequencies r t differ across it); a detector's pole, exp(-u/d)/d; a generator that holds each
value, a box of width b. s, d and b are the times D/(4 v), tau and the step, times the rate, over the FWHM. So

    light(u) = 2 Re int_0^a (1 - x/a)/a exp(-2 pi^2 x^2 s^2) / (1 + 2 pi i x d) sinc(x b) exp(2 pi i x u) dx

and its highest value over u is what is left of the peak. The tests hold it against convolution of sampled pulses.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from aotf_lab.physics.coupled_waves import passband_fwhm

__all__ = ["peak_light", "pulse_light"]

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
_A = float(passband_fwhm(0.0))
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(160)
_X = 0.5 * _A * (_NODES + 1.0)
_TRIANGLE = 0.5 * _A * _WEIGHTS * (1.0 - _X / _A) / _A
_TURN = 2j * np.pi * _X
_STEPS = 4


def pulse_light(offset: FloatArray, deviation: float, pole: float, hold: float) -> FloatArray:
    """Return the light (n,), as a share of that at rest in tune, at ``offset`` (n,); all arguments in FWHM.

    >>> [round(float(y), 3) for y in pulse_light(np.array([0.0, 0.5]), 0.0, 0.0, 0.0)]
    [1.0, 0.5]
    """
    return _light(_spectrum(deviation, pole, hold), np.asarray(offset, dtype=float))


def peak_light(deviation: float, pole: float = 0.0, hold: float = 0.0) -> float:
    """Return the highest light of the pulse, as a share of that at rest in tune; arguments in FWHM.

    >>> round(peak_light(0.1), 3), round(peak_light(0.0, 0.2), 3)
    (0.975, 0.922)
    """
    spectrum = _spectrum(deviation, pole, hold)
    if pole == 0.0:
        return float(_light(spectrum, np.zeros(1))[0])
    grid = np.linspace(0.0, min(pole, 0.6 + 0.5 * deviation + 0.5 * hold) + 1.0, 41)
    light = _light(spectrum, grid)
    best = int(np.argmax(light))
    low, high = float(grid[max(best - 1, 0)]), float(grid[min(best + 1, len(grid) - 1)])
    at = float(grid[best])
    for _ in range(_STEPS):  # Newton's, on the derivative
        turning = spectrum * np.exp(_TURN * at)
        slope, bend = float(np.real(turning @ _TURN)), float(np.real(turning @ _TURN**2))
        if bend < 0:
            at = min(max(at - slope / bend, low), high)
    return max(float(_light(spectrum, np.array([at]))[0]), float(light[best]))


def _spectrum(deviation: float, pole: float, hold: float) -> ComplexArray:
    """Return the transform at the nodes, times their weights."""
    blurred = _TRIANGLE * np.exp(-2.0 * (np.pi * _X * deviation) ** 2) * np.sinc(_X * hold)
    return np.asarray(blurred / (1.0 + _TURN * pole))


def _light(spectrum: ComplexArray, offset: FloatArray) -> FloatArray:
    return np.asarray(2.0 * np.real(np.exp(np.multiply.outer(offset, _TURN)) @ spectrum))
