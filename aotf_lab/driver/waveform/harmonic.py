"""What a trace holds beside its fundamental, and what that does to a reading of volts rms or peak to peak."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from uncertainties import UFloat

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.checks import SIGNIFICANCE

__all__ = ["Harmonic", "rms_excess", "vpp_excess", "vpp_excess_range"]

_POINTS = 720
_STARTS = 6


@dataclass(frozen=True)
class Harmonic:
    """One harmonic: its ``order`` and its power over that of the fundamental, in the load (``share``).

    ``shown`` is that power as the scope shows it, behind the fall of its bandwidth. The phase (rad), as shown, is
    that of cos(order x - phase) when the fundamental is cos(x). ``floor`` is the share that noise alone makes, on
    average.
    """

    order: int
    share: UFloat
    shown: UFloat
    phase_rad: float
    floor: float

    @property
    def level_dbc(self) -> float:
        """Level against the fundamental (dBc), of the share as found; -inf for none at all."""
        return float(10.0 * np.log10(self.share.n)) if self.share.n > 0 else float("-inf")

    @property
    def highest_dbc(self) -> float:
        """Level (dBc) that the harmonic does not exceed, with two standard uncertainties."""
        return float(10.0 * np.log10(max(self.share.n, 0.0) + 2.0 * self.share.s))

    @property
    def limit_dbc(self) -> float:
        """Detection limit (dBc): the level that noise alone shows with chance ``SIGNIFICANCE``."""
        return float(10.0 * np.log10(self.floor * -np.log(SIGNIFICANCE)))

    @property
    def seen(self) -> bool:
        """Whether the harmonic stands out of the noise: noise alone shows an exponential share about its mean."""
        return bool(self.share.n + self.floor > self.floor * -np.log(SIGNIFICANCE))


def rms_excess(harmonics: Sequence[Harmonic]) -> UFloat | float:
    """Return by which share a power from volts rms exceeds that of the fundamental: the sum of the shares shown.

    A second harmonic at -10 dBc adds 10 % (Parseval). A bare 0.0 where there are no harmonics.
    """
    return sum(h.shown for h in harmonics)


def vpp_excess(harmonics: Sequence[Harmonic]) -> float:
    """Return by which share a power from volts peak to peak, read as those of a sine, exceeds the fundamental's.

    With a third harmonic at -10 dBc it is up to (1 + 10^-0.5)^2 - 1 = 73 %, or down to -13 %; the phases decide.
    """
    orders = [h.order for h in harmonics]
    sizes = np.array([max(h.shown.n, 0.0) ** 0.5 for h in harmonics])
    return _half_swing(orders, sizes, np.array([h.phase_rad for h in harmonics])) ** 2 - 1.0


def vpp_excess_range(shares: Mapping[int, float]) -> tuple[float, float]:
    """Return the least and the largest ``vpp_excess`` that harmonics of these ``shares`` can make, phases unknown.

    ``shares`` is order -> power over the fundamental's, none of them negative. Raises ``ReadingsError`` for others.

    >>> [round(100 * float(x), 1) for x in vpp_excess_range({3: 0.1})]
    [-13.3, 73.2]
    """
    bad = [(order, share) for order, share in shares.items() if order < 2 or not 0.0 <= share < np.inf]
    if bad:
        raise ReadingsError(
            f"a harmonic of order {bad[0][0]} with a share of power that cannot be", found=bad[0][1],
            allowed="orders of 2 or more, shares of 0 or more",
            cure="state power over the fundamental's, 0.1 for -10 dBc",
        )  # fmt: skip
    orders = [order for order, share in shares.items() if share > 0]
    sizes = np.array([shares[order] ** 0.5 for order in orders])
    if not orders:
        return 0.0, 0.0
    grid = itertools.product(np.arange(_STARTS) * 2.0 * np.pi / _STARTS, repeat=len(orders))
    starts = sorted((np.array(start) for start in grid), key=lambda phases: _half_swing(orders, sizes, phases))
    return _extreme(orders, sizes, starts[:3], 1.0) ** 2 - 1.0, _extreme(orders, sizes, starts[-3:], -1.0) ** 2 - 1.0


def _extreme(
    orders: Sequence[int], sizes: NDArray[np.float64], starts: Sequence[NDArray[np.float64]], sign: float
) -> float:
    """Return the least (``sign`` 1) or the largest (-1) half swing that is reached from phases ``starts``."""

    def swing(phases: NDArray[np.float64]) -> float:
        return sign * _half_swing(orders, sizes, phases)

    return sign * min(float(minimize(swing, start, method="Nelder-Mead").fun) for start in starts)


def _half_swing(orders: Sequence[int], sizes: NDArray[np.float64], phases: NDArray[np.float64]) -> float:
    """Return half of the peak-to-peak value of cos x + sum of sizes cos(order x - phase)."""
    x = np.linspace(0.0, 2.0 * np.pi, _POINTS, endpoint=False)
    wave = np.cos(x)
    for order, size, phase in zip(orders, sizes, phases, strict=True):
        wave = wave + size * np.cos(order * x - phase)
    return 0.5 * (_peak(wave) + _peak(-wave))


def _peak(wave: NDArray[np.float64]) -> float:
    """Return the highest value of a closed wave, by the parabola through its highest point and both neighbours."""
    k = int(np.argmax(wave))
    left, top, right = float(wave[k - 1]), float(wave[k]), float(wave[(k + 1) % wave.size])
    bend = left - 2.0 * top + right
    return top if bend >= 0.0 else top - (right - left) ** 2 / (8.0 * bend)
