"""Least-squares fit of a sine with its harmonics to a trace.

The four-parameter fit of IEEE Std 1057 (amplitudes of cosine and sine, offset, frequency; Annex A of the
2007 edition, clause number from memory), with the harmonics as more linear amplitudes at multiples of the one
frequency. Each step solves the whole linearised problem, so that it converges as Gauss-Newton does.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from aotf_lab.errors import FitError, Said

__all__ = ["HarmonicFit", "design", "fit_harmonics"]

Floats = NDArray[np.float64]

_STEPS = 30
_CONVERGED = 1e-5
"""A step below this share of the standard uncertainty of the frequency is the last."""
_REACH = 1.5
"""Periods over the trace by which the frequency may move from its first value: beyond, it is another line."""
_AT_ONCE = 32768
"""Rows of the design that are held at a time: a million samples need no more memory than these and the trace."""


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

    @property
    def frequency_mhz(self) -> float:
        """The fitted frequency (MHz), as sampled."""
        return float(self.values[0])

    @property
    def amplitude_v(self) -> float:
        """The fitted amplitude (V, zero to peak) of the fundamental."""
        return float(np.hypot(self.values[2], self.values[3]))

    def model(self, time_us: Floats) -> Floats:
        """Return the fitted wave (V) at ``time_us`` (n,)."""
        parts = [
            design(time_us[rows] - self.middle_us, self.frequency_mhz, self.orders) @ self.values[1:]
            for rows in _pieces(time_us.size)
        ]
        return np.concatenate(parts)


def design(time_us: Floats, frequency_mhz: float, orders: tuple[int, ...]) -> Floats:
    """Return the columns of the linear part: ones, then cosine and sine of each order, shape (n, 1 + 2 orders).

    ``orders`` rise.
    """
    turn = np.exp(2j * np.pi * frequency_mhz * time_us)
    columns = np.empty((time_us.size, 1 + 2 * len(orders)))
    columns[:, 0] = 1.0
    power, reached = turn, 1
    for k, order in enumerate(orders):
        for _ in range(order - reached):
            power = power * turn
        reached = order
        columns[:, 1 + 2 * k], columns[:, 2 + 2 * k] = power.real, power.imag
    return columns


def fit_harmonics(time_us: Floats, signal: Floats, orders: tuple[int, ...], first_mhz: float) -> HarmonicFit:
    """Fit offset, frequency and the amplitudes of ``orders`` (1 first) to ``signal`` at ``time_us``, each (n,).

    ``first_mhz`` must be within about half a period over the trace. Raises ``FitError`` when two of the orders
    cannot be told apart at these times, or when the frequency does not settle.
    """
    middle = 0.5 * float(time_us[0] + time_us[-1])
    time = time_us - middle
    reach = _REACH / float(time_us[-1] - time_us[0])
    frequency = first_mhz
    amplitudes = np.zeros(1 + 2 * len(orders))
    _, normal, right = _normal_equations(time, signal, frequency, amplitudes, orders)
    amplitudes, _ = _solved(normal[1:, 1:], right[1:])
    dof = signal.size - 1 - amplitudes.size
    for _ in range(_STEPS):
        residuals, normal, right = _normal_equations(time, signal, frequency, amplitudes, orders)
        step, inverse = _solved(normal, right)
        noise = float(np.sqrt(residuals @ residuals / dof))
        frequency, amplitudes = frequency + float(step[0]), amplitudes + step[1:]
        if abs(frequency - first_mhz) > reach:
            break
        if abs(step[0]) <= max(_CONVERGED * noise * inverse[0, 0] ** 0.5, 1e-13 * abs(frequency)):
            values = np.concatenate(([frequency], amplitudes))
            return HarmonicFit(orders, values, noise**2 * inverse, noise, dof, middle, residuals)
    raise FitError(
        "the frequency of the trace does not settle", found=Said(f"{frequency:.6g} MHz, from {first_mhz:.6g} MHz"),
        allowed="a trace of one steady frequency", cure="save a trace with a steady oscillator, or a shorter one",
    )  # fmt: skip


def _pieces(size: int) -> Iterator[slice]:
    return (slice(start, min(start + _AT_ONCE, size)) for start in range(0, size, _AT_ONCE))


def _normal_equations(
    time: Floats, signal: Floats, frequency: float, amplitudes: Floats, orders: tuple[int, ...]
) -> tuple[Floats, Floats, Floats]:
    """Return residuals (n,), normal matrix and right-hand side of the linearised problem, frequency first."""
    size = 1 + amplitudes.size
    normal, right, residuals = np.zeros((size, size)), np.zeros(size), np.empty(signal.size)
    slope = np.zeros(amplitudes.size)
    for k, order in enumerate(orders):
        slope[1 + 2 * k] = 2.0 * np.pi * order * amplitudes[2 + 2 * k]
        slope[2 + 2 * k] = -2.0 * np.pi * order * amplitudes[1 + 2 * k]
    for rows in _pieces(signal.size):
        columns = design(time[rows], frequency, orders)
        jacobian = np.column_stack((time[rows] * (columns @ slope), columns))
        residuals[rows] = signal[rows] - columns @ amplitudes
        normal += jacobian.T @ jacobian
        right += jacobian.T @ residuals[rows]
    return residuals, normal, right


def _solved(normal: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Return the solution and the inverse of the normal matrix; columns are scaled to one before the inversion."""
    scale = np.sqrt(np.diag(normal))
    scale[scale == 0.0] = 1.0
    try:
        factor = linalg.cho_factor(normal / np.outer(scale, scale))
        inverse = linalg.cho_solve(factor, np.eye(scale.size))
    except linalg.LinAlgError as error:
        raise FitError(
            "two harmonics, or a harmonic and the offset, look the same at these times",
            found=Said("a singular fit"), allowed="harmonics that do not fold onto each other",
            cure="save a trace with more samples in each period",
        ) from error  # fmt: skip
    return np.asarray(linalg.cho_solve(factor, right / scale) / scale), inverse / np.outer(scale, scale)
