"""Whether a wave was cut off at the largest or the least reading of the scope."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.waveform.harmonics import Floats, HarmonicFit, design, fit_harmonics
from aotf_lab.errors import FitError

__all__ = ["Clipped", "clipped"]

_FEWEST_AT_RAIL = 5
_PER_PARAMETER = 4
_Z = 4.0
_CLEAR = 3.0
"""Standard deviations of the noise by which the wave keeps below the rail where samples are used."""
_COARSE = 6.0
"""Below this many steps from least to largest, most readings stand at a rail without being cut off."""
_FINE = 20.0
"""Above this many, no wave that is not cut off has half of its readings there."""


@dataclass(frozen=True)
class Clipped:
    """Samples that stand at a rail: their positions (0-based), and how far the wave would have gone beyond it (V).

    ``beyond_v`` is NaN where so few samples stand between the rails that nobody can tell.
    """

    rows: NDArray[np.int64]
    beyond_v: float


def clipped(time_us: Floats, signal: Floats, first: HarmonicFit, step: float) -> Clipped | None:
    """Return the clipped samples, None when there are none; ``first`` is the fit to all, ``step`` the converter's (V).

    The parts of the wave that come near the largest and the least reading are left out, and the wave is fitted to
    the rest: where it would go beyond the rail by more than half a step and its uncertainty, the rail cut it off.
    Samples are left out by where the wave is, not by what they read: else those with low noise would stay.
    """
    rails = [np.flatnonzero(signal == rail) for rail in (signal.max(), signal.min())]
    rails = [rows for rows in rails if rows.size >= _FEWEST_AT_RAIL]
    if not rails or (step > 0 and np.ptp(signal) < _COARSE * step):
        return None
    at_rail = np.zeros(signal.size, dtype=bool)
    at_rail[np.concatenate(rails)] = True
    fit = _fitted(time_us, signal, ~at_rail, first)
    for _ in range(2):
        if fit is None:
            break
        wave, clear = fit.model(time_us), _CLEAR * fit.noise
        below = (wave < signal.max() - clear) | (rails[0][0] != np.argmax(signal))
        above = (wave > signal.min() + clear) | (rails[-1][0] != np.argmin(signal))
        fit = _fitted(time_us, signal, below & above & ~(at_rail & (np.abs(signal - wave) > clear)), first)
    cut = None if fit is None else _beyond(time_us, signal, rails, fit, step)
    most = np.mean(at_rail) > 0.5 and np.ptp(signal) > _FINE * step
    return Clipped(np.flatnonzero(at_rail), float("nan")) if cut is None and most else cut


def _beyond(
    time_us: Floats, signal: Floats, rails: list[NDArray[np.int64]], fit: HarmonicFit, step: float
) -> Clipped | None:
    found: list[NDArray[np.int64]] = []
    beyond = 0.0
    for rows in rails:
        rail = float(signal[rows[0]])
        sign = 1.0 if rail == signal.max() else -1.0
        columns = design(time_us[rows] - fit.middle_us, fit.frequency_mhz, fit.orders)
        weights = columns.mean(axis=0)
        excess = sign * (float(weights @ fit.values[1:]) - rail)
        u = float(weights @ fit.covariance[1:, 1:] @ weights) ** 0.5
        if excess > 0.5 * step + _Z * (u + fit.noise / rows.size**0.5):
            found.append(rows)
            beyond = max(beyond, float(np.max(sign * (columns @ fit.values[1:] - rail))))
    return Clipped(np.sort(np.concatenate(found)), beyond) if found else None


def _fitted(time_us: Floats, signal: Floats, kept: NDArray[np.bool_], first: HarmonicFit) -> HarmonicFit | None:
    """Return the fit with as many harmonics as the samples ``kept`` call for, None where none can be made.

    More harmonics than needed would bend freely where the samples were left out. The number is chosen by the
    Bayesian information criterion (Schwarz, Ann. Statist. 6, 461 (1978)).
    """
    best: HarmonicFit | None = None
    least = np.inf
    time_us, signal = time_us[kept], signal[kept]
    for count in range(1, len(first.orders) + 1):
        parameters = 2 + 2 * count
        if signal.size < _PER_PARAMETER * parameters:
            break
        try:
            fit = fit_harmonics(time_us, signal, first.orders[:count], first.frequency_mhz)
        except FitError:
            continue
        floor = 1e-12 * float(np.ptp(signal))
        criterion = signal.size * 2.0 * np.log(max(fit.noise, floor)) + parameters * np.log(signal.size)
        if criterion < least:
            best, least = fit, criterion
    return best
