"""The channel: light that is keyed on and off, with its edges, its contrast, its noise and the jitter of its edges.

A Gaussian beam that the sound's edge crosses gives error-function edges: the light goes as Phi(t / s), s the standard
deviation of the beam in time. From 10 % to 90 % it takes 2 Phi^-1(0.9) s = 2.5631 s, which is 0.6408 D/v for a 1/e^2
diameter D = 4 v s (the integral of a Gaussian; see ``physics.beams``). Keying adds edges: every change of a bit adds
its own, so that light = 1 + sum of edges, and bits that change faster than the beam is crossed run into each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from aotf_lab.errors import AotfLabError
from aotf_lab.physics.edges import RISE_PER_DEVIATION

__all__ = ["RISE_PER_DEVIATION", "Channel", "FloatArray"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Channel:
    """Light keyed on and off, in shares of the light when on.

    ``rise_us`` and ``fall_us`` are times 10 to 90 %, ``contrast`` the light when on over that when off (infinite: none
    leaks), ``noise_on`` and ``noise_off`` the rms noise in each state as a share of the light when on, ``jitter_us``
    the rms jitter of an edge. Raises ``AotfLabError`` for a value without a meaning.

    >>> Channel(1.6, 1.6, contrast=1000.0).off_share
    0.001
    """

    rise_us: float
    fall_us: float
    contrast: float
    noise_on: float = 0.0
    noise_off: float = 0.0
    jitter_us: float = 0.0

    def __post_init__(self) -> None:
        for name, value in (("rise time (us)", self.rise_us), ("fall time (us)", self.fall_us)):
            if not (np.isfinite(value) and value > 0):
                raise AotfLabError(name, found=value, allowed="above 0 us", cure="give the time from 10 to 90 %")
        if not self.contrast > 1:
            raise AotfLabError(
                "contrast of light on to light off", found=self.contrast, allowed="above 1",
                cure="give the light when on over that when off",
            )  # fmt: skip
        for name, value in (
            ("noise when on", self.noise_on), ("noise when off", self.noise_off), ("jitter (us)", self.jitter_us),
        ):  # fmt: skip
            if not (np.isfinite(value) and value >= 0):
                raise AotfLabError(name, found=value, allowed="0 or more", cure="give its rms value")

    @property
    def off_share(self) -> float:
        """The light when off over that when on."""
        return 1.0 / self.contrast

    @property
    def deviation_us(self) -> float:
        """The larger standard deviation (us) of the two edges."""
        return max(self.rise_us, self.fall_us) / RISE_PER_DEVIATION

    def up(self, time_us: ArrayLike) -> FloatArray:
        """Return the course (0 to 1) of a rising edge, half way at time 0."""
        return np.asarray(special.ndtr(np.asarray(time_us, dtype=float) * RISE_PER_DEVIATION / self.rise_us))

    def down(self, time_us: ArrayLike) -> FloatArray:
        """Return how much (0 to 1) a falling edge has taken away, half at time 0."""
        return np.asarray(special.ndtr(np.asarray(time_us, dtype=float) * RISE_PER_DEVIATION / self.fall_us))

    def lit(self, keyed: FloatArray) -> FloatArray:
        """Return the light (share of that when on) of the sum of edges: no less than 0, no more than 1, plus leaks.

        A slow rise that a faster fall overtakes would leave less than no light; there the light is none.
        """
        return np.asarray(self.off_share + (1.0 - self.off_share) * np.clip(keyed, 0.0, 1.0))

    @property
    def memory_us(self) -> float:
        """Time (us) after which an edge is over but for 1e-12 of it."""
        return 7.0 * self.deviation_us
