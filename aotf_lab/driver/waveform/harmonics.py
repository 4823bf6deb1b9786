"""Least-squares fit of a sine with its harmonics to a trace.

The four-parameter fit of IEEE Std 1057 (amplitudes of cosine and sine, offset, frequency; Annex A of the
2007 edition, clause number from memory), with the harmonics as more linear amplitudes at multiples of the one
frequency. Each step solves the whole linearised problem, so that it converges as Gauss-Newton does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from aotf_lab.errors import FitError, Said

__all__ = ["HarmonicFit", "design", "first_frequency", "fit_harmonics"]

Floats = NDArray[np.float64]

_STEPS = 30
_CONVERGED = 1e-3
"""A step below this share of the standard uncertainty of the frequency is the last."""


@dataclass(frozen=True)
class HarmonicFit:
    """What was fitted: ``values`` = frequency (MHz), offset, then cosine and sine amplitude of each of ``orders``.

    ``covariance`` belongs to ``values`` with the noise ``noise`` (standard deviation about the fit, on ``dof``
    degrees of freedom). Times are counted from ``middle_us``, so that phase and frequency are all but uncorrelated.
    """

    orders: tuple[int, ...]
    values: Floats
    covariance: Floats
    noise: float
    dof: int
    middle_us: float
    residuals: Floats

    def amplitudes(self) -> tuple[Floats, Floats]:
        """Return cosine and sine amplitudes, one per order."""
        return self.values[2::2], self.values[3::2]


def first_frequency(time_us: Floats, signal: Floats) -> float:
    """Return the frequency (MHz) of the strongest line of the spectrum, refined between its bins.

    Times must be all but even. A Hann window and the ratio of the two highest bins (Jain, Collins and Davis,
    IEEE Trans. Instrum. Meas. IM-28, 113 (1979), for the principle; the Hann form from memory) come within a
    tenth of a bin, which is within the reach of the fit.
    """
    n = signal.size
    spectrum = np.abs(np.fft.rfft((signal - signal.mean()) * np.hanning(n)))
    spectrum[:2] = 0.0
    k = int(np.argmax(spectrum))
    left = spectrum[k - 1] if k > 0 else 0.0
    right = spectrum[k + 1] if k + 1 < spectrum.size else 0.0
    ratio = max(left, right) / spectrum[k] if spectrum[k] > 0 else 0.5
    shift = (2.0 * ratio - 1.0) / (1.0 + ratio)
    step = (time_us[-1] - time_us[0]) / (n - 1)
    return float((k + (shift if right >= left else -shift)) / (n * step))


def design(time_us: Floats, frequency_mhz: float, orders: tuple[int, ...]) -> Floats:
    """Return the columns of the linear part: ones, then cosine and sine of each order, shape (n, 1 + 2 orders)."""
    phase = 2.0 * np.pi * frequency_mhz * time_us
    columns = np.empty((time_us.size, 1 + 2 * len(orders)))
    columns[:, 0] = 1.0
    for k, order in enumerate(orders):
        columns[:, 1 + 2 * k] = np.cos(order * phase)
        columns[:, 2 + 2 * k] = np.sin(order * phase)
    return columns


def fit_harmonics(time_us: Floats, signal: Floats, orders: tuple[int, ...], first_mhz: float) -> HarmonicFit:
    """Fit offset, frequency and the amplitudes of ``orders`` (1 first) to ``signal`` at ``time_us``, each (n,).

    ``first_mhz`` must be within about half a period over the trace. Raises ``FitError`` when two of the orders
    cannot be told apart at these times, or when the frequency does not settle.
    """
    middle = 0.5 * float(time_us[0] + time_us[-1])
    time = time_us - middle
    frequency = first_mhz
    amplitudes, *_ = linalg.lstsq(design(time, frequency, orders), signal)
    for _ in range(_STEPS):
        jacobian = _jacobian(time, frequency, orders, amplitudes)
        residuals = signal - jacobian[:, 1:] @ amplitudes
        step, normal = _step(jacobian, residuals)
        frequency, amplitudes = frequency + float(step[0]), amplitudes + step[1:]
        dof = signal.size - step.size
        noise = float(np.sqrt(residuals @ residuals / dof))
        covariance = noise**2 * normal
        if abs(step[0]) <= _CONVERGED * covariance[0, 0] ** 0.5 or abs(step[0]) < 1e-15 * abs(frequency):
            values = np.concatenate(([frequency], amplitudes))
            return HarmonicFit(orders, values, covariance, noise, dof, middle, residuals)
    raise FitError(
        "the frequency of the trace does not settle", found=Said(f"{frequency:.6g} MHz after {_STEPS} steps"),
        allowed="a trace of one steady frequency", cure="save a trace with a steady oscillator, or a shorter one",
    )  # fmt: skip


def _jacobian(time: Floats, frequency: float, orders: tuple[int, ...], amplitudes: Floats) -> Floats:
    columns = design(time, frequency, orders)
    slope = np.zeros(time.size)
    for k, order in enumerate(orders):
        a, b = amplitudes[1 + 2 * k], amplitudes[2 + 2 * k]
        slope += 2.0 * np.pi * order * time * (b * columns[:, 1 + 2 * k] - a * columns[:, 2 + 2 * k])
    return np.column_stack((slope, columns))


def _step(jacobian: Floats, residuals: Floats) -> tuple[Floats, Floats]:
    """Return the step and the inverse of the normal matrix; columns are scaled to one before the inversion."""
    scale = np.sqrt(np.einsum("ij,ij->j", jacobian, jacobian))
    scale[scale == 0.0] = 1.0
    normal = (jacobian.T @ jacobian) / np.outer(scale, scale)
    right = (jacobian.T @ residuals) / scale
    try:
        factor = linalg.cho_factor(normal)
        inverse = linalg.cho_solve(factor, np.eye(scale.size))
    except linalg.LinAlgError as error:
        raise FitError(
            "two harmonics, or a harmonic and the offset, look the same at these times",
            found=Said("a singular fit"), allowed="harmonics that do not fold onto each other",
            cure="save a trace with more samples in each period",
        ) from error  # fmt: skip
    return np.asarray(linalg.cho_solve(factor, right) / scale), inverse / np.outer(scale, scale)
