"""How the shared errors of the two runs act on a power that is put together from both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from aotf_lab.driver.level.rows import Run
from aotf_lab.estimation.causes import CommonError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.reading.chain import RollOffError

__all__ = ["PER_NEPER", "ScaleError", "scale_errors_of", "scale_u"]

PER_NEPER = 10.0 / float(np.log(10.0))
"""dB for a relative change of power of 1, small changes."""


@dataclass(frozen=True)
class ScaleError:
    """A shared error of one run: ``of_anchor`` when it moves every power, ``grows`` when it does so with frequency."""

    error: CommonError
    share: float
    of_anchor: bool
    grows: bool

    def db_row(self, frequency_mhz: FloatArray, reference_mhz: float, kept: FloatArray) -> FloatArray:
        """Return how dB (n, 1) move with the error's variable; ``kept`` (n,) is how far the band's shape is kept."""
        there = _at(self.error, np.array([reference_mhz]))[0]
        moves = np.full(len(frequency_mhz), there if self.of_anchor else 0.0)
        if self.grows:
            moves = moves + kept * (_at(self.error, frequency_mhz) - there)
        return np.asarray((PER_NEPER * self.share * moves)[:, None])


def scale_errors_of(supply: Run, band: Run, on_band: bool, typical_w: tuple[float, float]) -> tuple[ScaleError, ...]:
    """Return the errors of the anchor's scale and of the band's growth with frequency.

    ``typical_w`` are mean powers (W) of the run over the supply and of that over the band.
    """
    if on_band:
        return tuple(ScaleError(e, s, True, True) for e, s in band.power_errors(typical_w[1]))
    anchor = [ScaleError(e, s, True, False) for e, s in supply.power_errors(typical_w[0])]
    growth = band.power_errors(typical_w[1])
    return (*anchor, *(ScaleError(e, s, False, True) for e, s in growth if isinstance(e, RollOffError)))


def scale_u(runs: tuple[tuple[Run, float, float], ...], frequency_mhz: float) -> float:
    """Return the relative u that the shared errors of ``runs`` give together at ``frequency_mhz``.

    Each run comes with its mean power (W) and the weight with which its scale counts: 1 and -1 for a ratio.
    """
    sizes: dict[int, float] = {}
    for run, typical_w, weight in runs:
        for error, share in run.power_errors(typical_w):
            key = id(error.variable)
            u = float(_at(error, np.array([frequency_mhz]))[0] * error.variable.s)
            sizes[key] = sizes.get(key, 0.0) + weight * share * u
    return float(sum(u**2 for u in sizes.values()) ** 0.5)


def _at(error: CommonError, frequency_mhz: FloatArray) -> FloatArray:
    if isinstance(error, RollOffError):
        return error.at(frequency_mhz)
    return np.full(len(frequency_mhz), error.sensitivity)
