"""The reflection of the invented crystal at its connector, as a small analyser saves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from aotf_lab.physics.domain import Values, as_values

__all__ = ["SKERRY_MATCH", "MatchTruth", "match_file", "true_reflection"]

Complex = np.ndarray[tuple[int, ...], np.dtype[np.complex128]]


@dataclass(frozen=True)
class MatchTruth:
    """Return loss = mean + ripple sin(f / period) dB, phase by a cable's delay; leak and noise of the analyser."""

    mean_db: float = 12.5
    ripple_db: float = 4.5
    ripple_mhz: float = 4.1
    delay_rad_per_mhz: float = 0.12
    directivity_db: float = 38.0
    leak_rad_per_mhz: float = 0.05
    noise: float = 0.0008


SKERRY_MATCH = MatchTruth()


def true_reflection(frequency_mhz: ArrayLike, truth: MatchTruth = SKERRY_MATCH) -> Complex:
    """Return the complex reflection at the crystal's connector, of the shape of ``frequency_mhz``.

    >>> round(float(-20 * np.log10(abs(true_reflection(64.0)))), 2)
    12.94
    """
    frequency = as_values(frequency_mhz)
    size: Values = 10.0 ** (-(truth.mean_db + truth.ripple_db * np.sin(frequency / truth.ripple_mhz)) / 20.0)
    return np.asarray(size * np.exp(-1j * truth.delay_rad_per_mhz * frequency), dtype=np.complex128)


def match_file(rng: np.random.Generator, truth: MatchTruth = SKERRY_MATCH) -> str:
    """Return a Touchstone file (one port, 40 to 100 MHz in steps of 0.5 MHz, real and imaginary part)."""
    frequency = np.arange(40.0, 100.01, 0.5)
    leak = 10.0 ** (-truth.directivity_db / 20.0) * np.exp(1j * truth.leak_rad_per_mhz * frequency)
    noise = truth.noise * (rng.standard_normal(frequency.size) + 1j * rng.standard_normal(frequency.size))
    shown = true_reflection(frequency, truth) + leak + noise
    rows = [f"{f:.3f} {s.real:.6f} {s.imag:.6f}" for f, s in zip(frequency, shown, strict=True)]
    return "\n".join(("! crystal at its connector, through its own cable", "# MHz S RI R 50", *rows, ""))
