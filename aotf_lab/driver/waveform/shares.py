"""What several traces say together of the harmonics of one driver."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat

from aotf_lab.driver.waveform.waveform import Waveform

__all__ = ["DriverHarmonic", "typical_harmonics"]

_LEAST_U = 1e-9


@dataclass(frozen=True)
class DriverHarmonic:
    """A harmonic of the driver: its ``order``, and its power over that of the fundamental in the load (``share``)."""

    order: int
    share: UFloat


def typical_harmonics(waveforms: Iterable[Waveform]) -> tuple[DriverHarmonic, ...] | None:
    """Return the mean share of each harmonic over the traces whose power is not withheld, None without such a trace.

    A harmonic that no trace shows above its noise is left out. The standard uncertainty of a share is that of one
    trace, or the standard deviation from trace to trace where that is larger: at another frequency or supply the
    share may be any of those.
    """
    good = [w.harmonics for w in waveforms if not w.withheld and w.harmonics is not None]
    if not good:
        return None
    found = []
    for order in sorted({h.order for harmonics in good for h in harmonics if h.seen}):
        shares = [h.share for harmonics in good for h in harmonics if h.order == order]
        own = float(np.sqrt(np.mean([s.s**2 for s in shares])))
        scatter = float(np.std([s.n for s in shares], ddof=1)) if len(shares) > 1 else 0.0
        mean = float(np.mean([s.n for s in shares]))
        found.append(
            DriverHarmonic(order, ufloat(mean, max(own, scatter, _LEAST_U), tag=f"harmonic {order} of the driver"))
        )
    return tuple(found)
