"""The spectrum of a trace: its strongest line, and which frequency to take for the fundamental."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.driver.waveform.sampling import Sampling
from aotf_lab.estimation.checks import SIGNIFICANCE

__all__ = ["Band", "Base", "fundamental", "strongest_line"]

Floats = NDArray[np.float64]
Band = tuple[float, float]

_LOBE = 2
"""Bins on each side that a line spreads over under the Hann window."""
_SLOW = 3.0
"""Below this many periods in the trace a line is a slope or hum, as long as a faster one stands out."""
_BESIDE_SLOW = 0.1
"""Least power of that faster one over the slow one's: a harmonic of a slow wave is weaker."""


@dataclass(frozen=True)
class Base:
    """The frequency taken for the fundamental (MHz, as sampled), and a line at a fraction of it that speaks against.

    ``lower_mhz`` is None where no line stands at a half or a third; ``lower_share`` is its power over that of the
    frequency taken. ``stands_out`` is the ratio of the line to the mean of the noise, ``limit`` what noise alone
    reaches with chance ``SIGNIFICANCE``.
    """

    frequency_mhz: float
    stands_out: float
    limit: float
    lower_mhz: float | None = None
    lower_share: float = 0.0


def strongest_line(spectrum: Floats, first: int = 1) -> float:
    """Return the place (bins) of the strongest line at or above bin ``first``, refined between the bins.

    ``spectrum`` is the modulus under a Hann window. The ratio of the two highest bins (Jain, Collins and Davis,
    IEEE Trans. Instrum. Meas. IM-28, 113 (1979), for the principle; the Hann form from memory) comes within a tenth
    of a bin, which is within the reach of the fit.
    """
    k = first + int(np.argmax(spectrum[first:]))
    left = spectrum[k - 1]
    right = spectrum[k + 1] if k + 1 < spectrum.size else spectrum[k - 1]  # the spectrum mirrors at its end
    ratio = max(left, right) / spectrum[k] if spectrum[k] > 0 else 0.5
    shift = (2.0 * ratio - 1.0) / (1.0 + ratio)
    return float(k + (shift if right >= left else -shift))


def fundamental(signal: Floats, grid: Sampling, near: tuple[Band, ...] = ()) -> Base:
    """Return what to take for the fundamental of an evenly sampled ``signal`` (n,).

    It is the strongest line. Where ``near`` holds bands of the spectrum (MHz, as sampled) in which the fundamental
    must lie, and the strongest line lies outside of them while a half or a third of it lies within, that one.
    """
    size = signal.size
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * (np.arange(size) + 0.5) / size)
    spectrum = np.abs(np.fft.rfft((signal - np.average(signal, weights=window)) * window))
    per_bin = grid.rate_mhz / size
    power = spectrum**2
    noise = float(np.median(power[1:]) / np.log(2.0))
    limit = float(np.log(spectrum.size / SIGNIFICANCE))
    place = _fast_line(spectrum, noise, limit)
    lower = _lower_line(power, place, noise, limit)
    if lower is not None and _within(lower * per_bin, near) and not _within(place * per_bin, near):
        place, lower = lower, None
    height = float(power[_around(place, power.size)].max())
    base = Base(place * per_bin, height / noise if noise > 0 else np.inf, limit)
    if lower is None or _within(place * per_bin, near):
        return base
    share = float(power[_around(lower, power.size)].max()) / height
    return Base(base.frequency_mhz, base.stands_out, limit, lower * per_bin, share)


def _fast_line(spectrum: Floats, noise: float, limit: float) -> float:
    """Return the place of the strongest line; a slope or a slow hum is passed over where a faster line stands out."""
    place = strongest_line(spectrum)
    first = int(_SLOW) + 2 * _LOBE
    if place >= _SLOW or spectrum.size <= 2 * first:
        return place
    other = strongest_line(spectrum, first)
    k = round(other)
    if not first + 1 < k < spectrum.size:
        return place
    apart = spectrum[k] > 2.0 * spectrum[first : k - 1].min()
    strong = spectrum[k] ** 2 > max(limit * noise, _BESIDE_SLOW * spectrum[round(place)] ** 2)
    return other if apart and strong else place


def _lower_line(power: Floats, place: float, noise: float, limit: float) -> float | None:
    """Return the place of a line at a half or a third of ``place``, the lower of both where both stand out."""
    for part in (3, 2):
        rows = _around(place / part, power.size)
        if place / part < _SLOW + _LOBE:
            continue
        top = float(power[rows].max())
        beside = power[max(rows.start - 4, 1) : rows.start].max(initial=0.0)
        beside = max(float(beside), float(power[rows.stop : rows.stop + 4].max(initial=0.0)))
        if top > limit * noise and top > 4.0 * beside:
            return place / part
    return None


def _around(place: float, size: int) -> slice:
    k = round(place)
    return slice(max(k - 1, 1), min(k + 2, size))


def _within(frequency_mhz: float, bands: tuple[Band, ...]) -> bool:
    return any(low <= frequency_mhz <= high for low, high in bands)
