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
from aotf_lab.estimation.checks import SIGNIFICANCE

__all__ = ["HarmonicFit", "design", "fit_harmonics"]

Floats = NDArray[np.float64]

_STEPS = 30
_CONVERGED = 1e-5
"""A step below this share of the standard uncertainty of the frequency is the last."""
_HALVINGS = 6
_NO_WORSE = 10.0
"""Sum of squares, in noise variances, by which a step may be worse: harmonics without a say may rise with noise."""
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

    Harmonics that do not stand out of the noise have no say about the frequency: order times their noise would spoil
    that of a weak wave.

    ``first_mhz`` must be within about half a period over the trace. Raises ``FitError`` when two of the orders
    cannot be told apart at these times, or when the frequency does not settle.
    """
    middle = 0.5 * float(time_us[0] + time_us[-1])
    time = time_us - middle
    reach = _REACH / float(time_us[-1] - time_us[0])
    start = np.zeros(1 + 2 * len(orders))
    _, normal, right = _normal_equations(time, signal, first_mhz, start, orders)
    start, inverse = _solved(normal[1:, 1:], right[1:])
    values = np.concatenate(([first_mhz], start))
    residuals, _, _ = _normal_equations(time, signal, first_mhz, start, orders)
    leading = _leading(orders, start, np.diag(inverse) * (residuals @ residuals) / signal.size)
    residuals, normal, right = _normal_equations(time, signal, first_mhz, start, orders, leading)
    dof = signal.size - values.size
    for _ in range(_STEPS):
        step, inverse = _solved(normal, right)
        noise = float(np.sqrt(residuals @ residuals / dof))
        settled = abs(step[0]) <= max(_CONVERGED * noise * inverse[0, 0] ** 0.5, 1e-13 * abs(values[0]))
        if settled:
            return HarmonicFit(orders, values + step, noise**2 * inverse, noise, dof, middle, residuals)
        worse = residuals @ residuals
        for share in 0.5 ** np.arange(_HALVINGS):  # a step that makes it worse is halved
            trial = values + share * step
            residuals, normal, right = _normal_equations(time, signal, float(trial[0]), trial[1:], orders, leading)
            if residuals @ residuals < worse * (1.0 + _NO_WORSE / signal.size):
                break
        values = trial
        if abs(values[0] - first_mhz) > reach:
            break
    raise FitError(
        "the frequency of the trace does not settle", found=Said(f"{values[0]:.6g} MHz, from {first_mhz:.6g} MHz"),
        allowed="a trace of one steady frequency", cure="save a trace with a steady oscillator, or a shorter one",
    )  # fmt: skip


def _pieces(size: int) -> Iterator[slice]:
    return (slice(start, min(start + _AT_ONCE, size)) for start in range(0, size, _AT_ONCE))


def _leading(orders: tuple[int, ...], amplitudes: Floats, variances: Floats) -> tuple[int, ...]:
    """Return the orders that stand out of the noise, whose power is exponential; always the fundamental."""
    power, noise = (np.add(x[1::2], x[2::2]) for x in (amplitudes**2, variances))
    return tuple(o for o, p, n in zip(orders, power, noise, strict=True) if o == 1 or p > -np.log(SIGNIFICANCE) * n)


def _normal_equations(
    time: Floats,
    signal: Floats,
    frequency: float,
    amplitudes: Floats,
    orders: tuple[int, ...],
    leading: tuple[int, ...] = (1,),
) -> tuple[Floats, Floats, Floats]:
    """Return residuals (n,), normal matrix and right-hand side of the linearised problem, frequency first.

    Orders in ``leading`` count for the frequency.
    """
    size = 1 + amplitudes.size
    normal, right, residuals = np.zeros((size, size)), np.zeros(size), np.empty(signal.size)
    slope = np.zeros(amplitudes.size)
    for k, order in ((k, order) for k, order in enumerate(orders) if order in leading):
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
    except linalg.LinAlgError:
        raise FitError(
            "two harmonics, or a harmonic and the offset, look the same at these times",
            found=Said("a singular fit"), allowed="harmonics that do not fold onto each other",
            cure="save a trace with more samples in each period",
        ) from None  # fmt: skip
    return np.asarray(linalg.cho_solve(factor, right / scale) / scale), inverse / np.outer(scale, scale)
