"""The steps of the scope's converter: how wide they are, what rounding does to an amplitude, and clipping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.waveform.harmonics import design, fit_harmonics

__all__ = ["Clipped", "clipped", "step_v", "u_rounding"]

Floats = NDArray[np.float64]

_FEWEST_AT_RAIL = 5
_Z = 4.0


def step_v(signal: Floats) -> float:
    """Return the converter's step (V): the least distance of two different readings, 0 where all but none repeat."""
    values = np.unique(signal)
    if values.size < 2 or values.size > 0.5 * signal.size:
        return 0.0
    gaps = np.diff(values)
    return float(np.min(gaps[gaps > 1e-6 * np.ptp(values)]))


def u_rounding(amplitude_v: float, noise_v: float, step: float) -> float:
    """Return the standard uncertainty (V) of a sine's amplitude from rounding to steps, where noise does not blur it.

    The rounding error of A cos(x) has the fundamental (2 q / pi) J1(2 pi A / q), of unknown sign as A is not known to
    a step; noise of standard deviation s before the rounding lowers it by exp(-2 pi^2 s^2 / q^2) (Widrow and
    Kollar, Quantization Noise, 2008; formula from memory). J1 is taken at its envelope.
    """
    if step <= 0 or amplitude_v <= step:
        return 0.0 if step <= 0 else 0.5 * step
    before = max(noise_v**2 - step**2 / 12.0, 0.0)
    largest = (2.0 * step / np.pi) * (step / (np.pi**2 * amplitude_v)) ** 0.5
    return float(largest / 2.0**0.5 * np.exp(-2.0 * np.pi**2 * before / step**2))


@dataclass(frozen=True)
class Clipped:
    """Samples that stand at a rail: their positions (0-based), and how far the wave would have gone beyond it (V)."""

    rows: NDArray[np.int64]
    beyond_v: float


def clipped(time_us: Floats, signal: Floats, orders: tuple[int, ...], frequency_mhz: float) -> Clipped | None:
    """Return the clipped samples, None when there are none.

    The samples at the largest and at the least reading are left out, and the wave is fitted to the rest: where it
    would go beyond the rail by more than half a step and its uncertainty, the rail cut it off.
    """
    step = step_v(signal)
    found: list[NDArray[np.int64]] = []
    beyond = 0.0
    for rail, sign in ((signal.max(), 1.0), (signal.min(), -1.0)):
        at_rail = np.flatnonzero(signal == rail)
        kept = np.setdiff1d(np.arange(signal.size), at_rail)
        if at_rail.size < _FEWEST_AT_RAIL or kept.size < 4 * (2 + 2 * len(orders)):
            continue
        fit = fit_harmonics(time_us[kept], signal[kept], orders, frequency_mhz)
        rows = design(time_us[at_rail] - fit.middle_us, float(fit.values[0]), orders)
        weights = rows.mean(axis=0)
        excess = sign * (float(weights @ fit.values[1:]) - float(rail))
        u = float(weights @ fit.covariance[1:, 1:] @ weights) ** 0.5
        if excess > 0.5 * step + _Z * (u + fit.noise / at_rail.size**0.5):
            found.append(at_rail)
            beyond = max(beyond, excess)
    return Clipped(np.sort(np.concatenate(found)), beyond) if found else None
