"""By how much harmonics make a reading of volts, squared, exceed the power of the fundamental.

Volts rms hold the harmonics' power (Parseval): at -10 dBc a tenth more. Volts peak to peak, read as those of a sine,
depend on the phases, which turn with frequency and cable: at -10 dBc a single harmonic makes the power anything from
25 % too small to 73 % too large ((1 + 10^-0.5)^2 - 1).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

__all__ = ["Excess", "HarmonicShare", "ReadingKind", "harmonic_excess"]

Floats = NDArray[np.float64]
ReadingKind = Literal["rms", "peak to peak"]

RMS_UNKNOWN = (0.0, 0.10)
PEAK_UNKNOWN = (-0.25, 0.73)
"""Excess of power where no trace was saved: up to -10 dBc of harmonics, any phase (common practice, no source)."""

U_WITH_DRIVE = 0.25
"""How far the shares change with drive and frequency, as a share of the excess (common practice, no source)."""

_PHASES = 256
_SAMPLES = 128
_PLACES = 9


class HarmonicShare(Protocol):
    """A harmonic: its order, and its power over that of the fundamental."""

    @property
    def order(self) -> int:
        """Multiple of the fundamental's frequency."""

    @property
    def share(self) -> UFloat:
        """Power over that of the fundamental."""


@dataclass(frozen=True)
class Excess:
    """Excess (n,) of power by harmonics, relative to the fundamental, with one standard uncertainty for all."""

    factor: Floats
    u: float
    words: str


def harmonic_excess(
    harmonics: Sequence[HarmonicShare] | None,
    kind: ReadingKind,
    frequency_mhz: Floats,
    bandwidth_mhz: float | None,
) -> Excess:
    """Return factors by which volts squared exceed the fundamental's, and their relative u.

    ``harmonics`` as a saved trace shows them, empty for a pure sine, None where none was saved: then
    a wide assumption stands. The scope's single pole weakens harmonics more than the fundamental.
    """
    if harmonics is None:
        low, high = RMS_UNKNOWN if kind == "rms" else PEAK_UNKNOWN
        middle, u = 1.0 + (low + high) / 2, (high - low) / 12.0**0.5
        words = f"no trace saved: {100 * low:.0f} to {100 * high:.0f} % of RF power by harmonics assumed (volts {kind})"
        return Excess(np.full(len(frequency_mhz), middle), u / middle, words)
    known = tuple(h for h in harmonics if h.share.n > 0)
    if not known:
        return Excess(np.ones(len(frequency_mhz)), 0.0, "a pure sine was stated")
    places = np.linspace(float(np.min(frequency_mhz)), float(np.max(frequency_mhz)), _PLACES)
    found = np.array([_excess(known, kind, f, bandwidth_mhz) for f in places])
    factor = 1.0 + np.interp(frequency_mhz, places, found[:, 0])
    u_shares = float(np.sqrt(sum(h.share.s**2 for h in known)))
    largest = int(np.argmax(found[:, 0]))
    if (
        kind == "peak to peak"
    ):  # volts of fundamental and harmonic add up: d excess = 2 (1 + sum of a) da, da = d share / 2a
        volts = sum(h.share.n**0.5 for h in known)
        u_shares = (1 + volts) * float(np.sqrt(sum(h.share.s**2 / max(h.share.n, h.share.s) for h in known)))
    u = float(np.sqrt(u_shares**2 + (U_WITH_DRIVE * found[largest, 0]) ** 2 + found[largest, 1] ** 2))
    names = ", ".join(f"{h.order} at {10 * np.log10(h.share.n):.0f} dBc" for h in known)
    words = f"harmonics of the saved trace ({names}): volts {kind} squared x {factor.max():.3f} at most"
    return Excess(factor, u / float(factor.max()), words)


def _excess(
    harmonics: Sequence[HarmonicShare], kind: ReadingKind, frequency_mhz: float, bandwidth_mhz: float | None
) -> tuple[float, float]:
    """Return the excess at one frequency and its standard deviation over phases."""
    pole = 0.0 if bandwidth_mhz is None else (frequency_mhz / bandwidth_mhz) ** 2
    seen = np.array([h.share.n * (1 + pole) / (1 + h.order**2 * pole) for h in harmonics])
    if kind == "rms":
        return float(seen.sum()), 0.0
    phases = 2 * np.pi * np.random.default_rng(0).random((_PHASES, len(seen), 1))
    x = np.linspace(0.0, 2 * np.pi, _SAMPLES, endpoint=False)
    wave = np.broadcast_to(np.cos(x), (_PHASES, _SAMPLES))
    for k, h in enumerate(harmonics):
        wave = wave + seen[k] ** 0.5 * np.cos(h.order * x - phases[:, k])
    excess = (np.ptp(wave, axis=1) / 2) ** 2 - 1
    return float(excess.mean()), float(excess.std())
