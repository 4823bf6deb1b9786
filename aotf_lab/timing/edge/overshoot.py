"""Does the light go beyond its plateau after an edge, and by how much?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat

from aotf_lab.estimation import new_cause
from aotf_lab.estimation.checks import z_limit
from aotf_lab.timing.edge.model import FittedSteps

__all__ = ["Overshoot", "overshoot_after"]

_WINDOW = (1.0, 4.0)
"""Where it is looked for, in rise times after the middle of the edge."""
_BINS = 12
_ONE_SIDED_95 = 1.6449


@dataclass(frozen=True)
class Overshoot:
    """The largest excess beyond the plateau, as a share of the step.

    ``share`` is the mean over a quarter of a rise time where it is largest. ``seen`` says whether that stands out of
    the noise, taken as the largest of so many; ``bound`` is what it does not exceed at 95 %.
    """

    share: UFloat
    seen: bool
    bound: float
    limit: float

    def __str__(self) -> str:
        return f"{100 * self.share:.1uS} %" if self.seen else f"not seen, below {100 * self.bound:.2g} %"


def overshoot_after(steps: FittedSteps, rising: bool, rise_us: float, lag_us: float) -> Overshoot | None:
    """Return the overshoot after the edges of one way; None where the trace is too short behind them to see one."""
    excess, where = [], []
    of = [s.centre_us for s in steps.levels.steps]
    for k, edge in enumerate(steps.levels.steps):
        if edge.rising != rising:
            continue
        after = (steps.time_us - steps.centre(k).n - lag_us) / rise_us
        end = of[k + 1] - 2.0 * rise_us if k + 1 < len(of) else np.inf
        rows = (after >= _WINDOW[0]) & (after < _WINDOW[1]) & (steps.time_us < end)
        where.append(after[rows])
        excess.append((steps.value_v - steps.expected_v)[rows] * (1.0 if rising else -1.0))
    after, beyond = np.concatenate(where), np.concatenate(excess)
    index = ((after - _WINDOW[0]) / (_WINDOW[1] - _WINDOW[0]) * _BINS).astype(int)
    counts = np.bincount(index, minlength=_BINS)
    kept = counts > 0
    if np.sum(kept) < _BINS // 2:
        return None
    step_v = steps.fit.parameters["step_v"].n
    means = np.bincount(index, beyond, minlength=_BINS)[kept] / counts[kept] / step_v
    u = max(steps.noise.slow_v, steps.noise.rounding_v / 12.0**0.5) / np.sqrt(counts[kept]) / step_v
    best = int(np.argmax(means / u))
    share = float(means[best]) + new_cause("scatter of the light after the edge", float(u[best]))
    limit = z_limit(2 * int(np.sum(kept)))  # twice: only an excess counts
    seen = bool(means[best] > limit * u[best])
    return Overshoot(share, seen, max(float(means[best]), 0.0) + _ONE_SIDED_95 * float(u[best]), limit)
