"""The steps of the scope's converter: how wide they are, and what rounding to them does to an amplitude."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["distinct_phases", "rounding_share", "step_v", "u_rounding"]

Floats = NDArray[np.float64]

_WHOLE = 0.2
_MOST_PHASES = 400
_ALL_BESSEL = 1.202
"""Sum of 1/k^3: what the higher terms of the series add to the variance of the first."""


def step_v(signal: Floats) -> float:
    """Return the converter's step (V): the least distance of two different readings.

    0 where most readings differ from each other, or the distances are not whole multiples of the least: then
    the steps are finer than the noise, or lost.
    """
    gaps = np.diff(np.sort(signal))
    gaps = gaps[gaps > 1e-6 * np.ptp(signal)]
    if not 0 < gaps.size < 0.5 * signal.size:
        return 0.0
    least = float(np.min(gaps))
    whole = np.abs(gaps / least - np.round(gaps / least)) < _WHOLE
    return float(np.mean(gaps[gaps < 1.5 * least])) if np.mean(whole) > 0.95 else 0.0


def rounding_share(noise_v: float, step: float) -> float:
    """Return the share (0 to 1) of the power of the rounding error that noise before the rounding leaves in lines.

    A standard deviation s of noise lowers each line by exp(-2 pi^2 s^2 / q^2) in amplitude (Widrow and Kollar,
    Quantization Noise, 2008; formula from memory). ``noise_v`` is that after rounding to steps of ``step`` (V).
    """
    if step <= 0:
        return 0.0
    before = max(noise_v**2 - step**2 / 12.0, 0.0)
    return float(np.exp(-4.0 * np.pi**2 * before / step**2))


def distinct_phases(cycles_per_sample: float, size: int, tolerance_cycles: float) -> int:
    """Return how many different phases of the wave were sampled, 0 for as many as there are samples.

    Sampling in step with the wave meets the same few phases again and again, and the same rounding errors: so it
    is when p samples make a whole number of periods, and the trace drifts off that by less than the tolerance.

    >>> distinct_phases(0.25, 2000, 1e-3), distinct_phases(0.618034, 2000, 1e-3)
    (4, 0)
    """
    p = np.arange(1, min(_MOST_PHASES, size // 4) + 1)
    off = np.abs(p * cycles_per_sample - np.round(p * cycles_per_sample)) * size / p
    found = np.flatnonzero(off < tolerance_cycles)
    return int(p[found[0]]) if found.size else 0


def u_rounding(amplitude_v: float, noise_v: float, step: float, phases: int = 0) -> float:
    """Return the standard uncertainty (V) of a sine's amplitude from rounding to steps, where noise does not blur it.

    The rounding error of A cos(x) has the fundamental sum over k of (2 q / (k pi)) J1(2 pi k A / q), of unknown sign
    as A is not known to a step (Widrow and Kollar, Quantization Noise, 2008; formula from memory). J1 is taken at
    its envelope. Where only ``phases`` different phases were sampled, their rounding errors of q / sqrt(12) do not
    average beyond them. Noise before the rounding lowers both, see ``rounding_share``.
    """
    if step <= 0:
        return 0.0
    if amplitude_v <= step:
        return 0.5 * step
    share = rounding_share(noise_v, step)
    envelope = (2.0 * step / np.pi) ** 2 * step / (np.pi**2 * amplitude_v) * _ALL_BESSEL / 2.0
    few = step**2 / 6.0 / phases if phases else 0.0
    return float(((envelope + few) * share) ** 0.5)
