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
from scipy import optimize

from aotf_lab.physics.coupled_waves import passband_fwhm

__all__ = ["peak_light", "pulse_light"]

FloatArray = NDArray[np.float64]
_A = float(passband_fwhm(0.0))
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(160)


def pulse_light(offset: FloatArray, deviation: float, pole: float, hold: float) -> FloatArray:
    """Return the light (n,), as a share of that at rest in tune, at ``offset`` (n,); all arguments in FWHM.

    >>> [round(float(y), 3) for y in pulse_light(np.array([0.0, 0.5]), 0.0, 0.0, 0.0)]
    [1.0, 0.5]
    """
    x = 0.5 * _A * (_NODES + 1.0)
    spectrum = 0.5 * _A * _WEIGHTS * (1.0 - x / _A) / _A * np.exp(-2.0 * (np.pi * x * deviation) ** 2)
    spectrum = spectrum * np.sinc(x * hold) / (1.0 + 2j * np.pi * x * pole)
    phase = np.exp(2j * np.pi * np.multiply.outer(np.asarray(offset, dtype=float), x))
    return np.asarray(2.0 * np.real(phase @ spectrum))


def peak_light(deviation: float, pole: float = 0.0, hold: float = 0.0) -> float:
    """Return the highest light of the pulse, as a share of that at rest in tune; arguments in FWHM.

    >>> round(peak_light(0.1), 3), round(peak_light(0.0, 0.2), 3)
    (0.975, 0.922)
    """
    if pole == 0.0:
        return float(pulse_light(np.zeros(1), deviation, 0.0, hold)[0])
    grid = np.linspace(0.0, min(pole, 0.6 + 0.5 * deviation + 0.5 * hold) + 1.0, 41)
    light = pulse_light(grid, deviation, pole, hold)
    best = int(np.argmax(light))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    found = optimize.minimize_scalar(
        lambda u: -float(pulse_light(np.array([u]), deviation, pole, hold)[0]), bounds=(low, high), method="bounded",
        options={"xatol": 1e-7},
    )  # fmt: skip
    return max(float(-found.fun), float(light[best]))
