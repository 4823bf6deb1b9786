"""The oscillator's port: a single pole that follows a step of volts late, and the kick that makes it faster.

After a step the port goes as V + (V0 - V) exp(-t / tau), tau = 1 / (2 pi B), B its -3 dB bandwidth (circuit theory). To
arrive early, drive beyond the aim for a time and then give the aim itself: with Vx = (V - V0 q) / (1 - q), q =
exp(-t_kick / tau), the port reaches V just at t_kick and stays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from aotf_lab.errors import AotfLabError

__all__ = ["FloatArray", "Move", "kick_v", "move_of", "time_constant_us"]

FloatArray = NDArray[np.float64]


def time_constant_us(bandwidth_khz: float) -> float:
    """Return the time constant (us) of a single pole; raises ``AotfLabError`` for a bandwidth not above zero.

    >>> round(time_constant_us(180.0), 4)
    0.8842
    """
    if not (np.isfinite(bandwidth_khz) and bandwidth_khz > 0):
        raise AotfLabError(
            "bandwidth (kHz) of the oscillator's port", found=bandwidth_khz, allowed="above 0 kHz",
            cure="give its -3 dB frequency",
        )  # fmt: skip
    return 1e3 / (2.0 * math.pi * bandwidth_khz)


def kick_v(start_v: float, end_v: float, kick_us: float, tau_us: float) -> float:
    """Return the volts that bring the port from ``start_v`` to ``end_v`` in ``kick_us``.

    >>> round(kick_v(2.0, 5.0, 0.8842 * 0.6931472, 0.8842), 4)
    8.0
    """
    q = math.exp(-kick_us / tau_us)
    return (end_v - start_v * q) / (1.0 - q)


@dataclass(frozen=True)
class Move:
    """How the port goes from ``start_v`` to ``end_v``: towards ``aim_v`` until ``until_us``, then at ``end_v``."""

    start_v: float
    end_v: float
    aim_v: float
    until_us: float
    tau_us: float

    @property
    def kicked(self) -> bool:
        """Whether the port is driven beyond its end."""
        return self.until_us < math.inf

    def volts(self, time_us: FloatArray) -> FloatArray:
        """Return the port's volts (n,) at ``time_us`` (n,) after the command."""
        t = np.asarray(time_us, dtype=float)
        going = self.aim_v + (self.start_v - self.aim_v) * np.exp(-t / self.tau_us)
        return np.where(t < self.until_us, going, self.end_v)

    def time_us(self, volts: FloatArray) -> FloatArray:
        """Return when (n,) the port passes ``volts`` (n,), which lie between start and end."""
        v = np.asarray(volts, dtype=float)
        return np.asarray(-self.tau_us * np.log((v - self.aim_v) / (self.start_v - self.aim_v)))

    def settled_us(self, within_v: float) -> float:
        """Return the time after which the port stays within ``within_v`` (V, above 0) of its end."""
        if abs(self.end_v - self.start_v) <= within_v:
            return 0.0
        edge = self.end_v - math.copysign(within_v, self.end_v - self.start_v)
        return float(self.time_us(np.array([edge]))[0])


def move_of(start_v: float, end_v: float, tau_us: float, kick_us: float | None = None) -> Move:
    """Return the move from ``start_v`` to ``end_v``, with a kick of ``kick_us`` where one is given."""
    if kick_us is None or start_v == end_v:
        return Move(start_v, end_v, end_v, math.inf, tau_us)
    return Move(start_v, end_v, kick_v(start_v, end_v, kick_us, tau_us), kick_us, tau_us)
