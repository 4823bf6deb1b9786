"""What is left over the fit: noise, a second tone, or a wave that does not keep its frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from aotf_lab.driver.waveform.harmonics import HarmonicFit
from aotf_lab.driver.waveform.orders import HIGHEST_ORDER
from aotf_lab.driver.waveform.sampling import Sampling, folded
from aotf_lab.driver.waveform.steps import rounding_share
from aotf_lab.estimation.checks import SIGNIFICANCE, z_limit

__all__ = ["Rest", "rest_of"]

_HIGHER = range(HIGHEST_ORDER + 1, 16)
_TESTS = 3
"""A line, a wave that moves, and jitter are asked for: the one false-alarm rate is divided among them."""
_NOISE_BANDWIDTH = 1.5
_CORRELATED = 1.94
"""Of the Hann window: bins that a line's power spreads over, and the loss of degrees of freedom as bins correlate."""
_BESIDE = 8
"""Bins on each side of the fundamental in which a wave that moves leaves its power."""


@dataclass(frozen=True)
class Rest:
    """What stands in the residuals of a fit besides white noise.

    ``line_mhz`` is the strongest line above the noise, as sampled, None where there is none; ``line_share`` its
    power over the fundamental's, and ``line_order`` the harmonic at that place, None for another tone.
    ``beside_share`` is the power left within a few bins of the fundamental, over the fundamental's, and ``moves``
    whether it is more than noise and rounding make. ``jitter_ps`` is the jitter of the sampling, None where the
    noise is no larger on the slopes than on the crests. ``widening`` is the factor on the variances of the fitted
    numbers that follows (1 for white noise).
    """

    line_mhz: float | None
    line_share: float
    line_order: int | None
    beside_share: float
    moves: bool
    jitter_ps: float | None
    widening: float
    u_moving_mhz: float


def rest_of(wave: HarmonicFit, grid: Sampling, step: float) -> Rest:
    """Return what is left over ``wave``; ``step`` (V) of the converter tells what its rounding may leave.

    The variance of an estimate at a line follows the noise density at that line, not the mean over all frequencies:
    ``widening`` is the ratio of both where it is significant (chi-square of the bins beside the fundamental).
    The share of power beside the fundamental is the mean square (rad^2) of the phase about its straight line; as
    large a phase that is not random from sample to sample leaves the slope uncertain by sqrt(12) of it per trace.
    """
    size = wave.residuals.size
    window = 1.0 - np.cos(2.0 * np.pi * (np.arange(size) + 0.5) / size)  # keeps a far tone out of the bins beside
    power = 2.0 * np.abs(np.fft.rfft(wave.residuals * window)[1:]) ** 2 / size**2  # of a line in each bin
    fundamental = 0.5 * wave.amplitude_v**2
    noise = float(np.median(power) / np.log(2.0))
    rounding = step**2 / 12.0 * rounding_share(wave.noise, step)
    k = int(np.argmax(power))
    stands_out = power[k] > noise * np.log(_TESTS * power.size / SIGNIFICANCE) + rounding + 1e-20 * fundamental
    per_bin = grid.rate_mhz / size
    place = round(folded(wave.frequency_mhz, grid.rate_mhz) / per_bin) - 1
    rows = np.arange(max(place - _BESIDE, 0), min(place + _BESIDE + 1, power.size))
    density = float(power[rows].mean())
    dof = 2.0 * rows.size / _CORRELATED
    limit = noise * special.chdtri(dof, SIGNIFICANCE / _TESTS) / dof + rounding / rows.size
    moves = bool(density > max(limit, 1e-20 * fundamental))
    mean = _NOISE_BANDWIDTH * 2.0 * wave.noise**2 / size
    widening = max(density / mean, 1.0) if moves else 1.0
    jitter, line = None if moves else _jitter_us(wave, grid, step), (k + 1) * per_bin
    if jitter is not None:
        widening *= 1.5  # all of the noise on the slopes: sum s^4 / (sum s^2)^2 of a sine, against white noise
    share = density * rows.size / _NOISE_BANDWIDTH / fundamental
    return Rest(
        line if stands_out else None, float(power[k]) / fundamental, _order_at(line, wave, grid),
        share, moves, None if jitter is None else 1e6 * jitter, widening,
        (12.0 * share) ** 0.5 / (2.0 * np.pi * grid.span_us) if moves else 0.0,
    )  # fmt: skip


def _order_at(line_mhz: float, wave: HarmonicFit, grid: Sampling) -> int | None:
    """Return the lowest harmonic beyond the fitted ones whose place is that of the line, to two bins."""
    near = 2.0 * grid.rate_mhz / wave.residuals.size
    places = (abs(folded(order * wave.frequency_mhz, grid.rate_mhz) - line_mhz) for order in _HIGHER)
    return next((order for order, off in zip(_HIGHER, places, strict=True) if off <= near), None)


def _jitter_us(wave: HarmonicFit, grid: Sampling, step: float) -> float | None:
    """Return the jitter of the sampling (us) where the squared residuals rise with the squared slope of the wave."""
    a, b = wave.values[2:4]
    turn = 2.0 * np.pi * wave.frequency_mhz
    phase = turn * (grid.time_us - wave.middle_us)
    slope = np.square(turn * (b * np.cos(phase) - a * np.sin(phase)))
    centred = slope - slope.mean()
    spread = float(centred @ centred)
    if spread <= 0 or wave.noise == 0:
        return None
    squares = wave.residuals**2
    found = float(centred @ squares) / spread
    u = float(np.std(squares)) / spread**0.5
    # Rounding without noise is not the same on crests and slopes: its power does not count.
    least = step**2 / 12.0 + 1e-20 * wave.amplitude_v**2
    if found <= z_limit(_TESTS) * u or found * float(slope.mean()) <= least:
        return None
    return float(found**0.5)
