"""Kept numbers brought up to date by new readings: the linear Bayesian update, what is shared kept shared.

The numbers are jointly normal, the readings a linear map of them plus noise, and the update is the conditional
distribution given the readings (Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), eq. A.6; for
one curve and noise their eq. 2.23 and 2.24). An instrument's own error is not learnt from its own readings: it stays
one cause of unit size in what comes out, and the gain accounts for it (a "consider" state: Schmidt, Advances in
Control Systems 3, 293 (1966); from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.stored import StoredNumbers

__all__ = ["Innovation", "conditioned", "innovation", "with_doubt"]


@dataclass(frozen=True, eq=False)
class Innovation:
    """What m readings say beyond the kept numbers: ``gap`` (m,) with ``covariance`` (m, m).

    ``effects`` (m, c) is the change of the gap by each common cause of either side, named in ``causes``: an error that
    both share cancels here.
    """

    gap: FloatArray
    covariance: FloatArray
    causes: tuple[str, ...]
    effects: FloatArray


def innovation(kept: StoredNumbers, rows: FloatArray, readings: StoredNumbers) -> Innovation:
    """Return what ``readings`` (m) say beyond ``rows`` (m, n) @ ``kept`` (n)."""
    names = tuple(dict.fromkeys([*kept.causes, *readings.causes]))
    effects = _effects(readings, names) - rows @ _effects(kept, names)
    covariance = rows @ kept.rest @ rows.T + readings.rest + effects @ effects.T
    return Innovation(readings.values - rows @ kept.values, covariance, names, effects)


def with_doubt(kept: StoredNumbers, changes: FloatArray) -> StoredNumbers:
    """Return ``kept`` (n) after changes of unknown size: column k of ``changes`` (n, k) is one u of the k-th."""
    return replace(kept, rest=kept.rest + changes @ changes.T)


def conditioned(kept: StoredNumbers, rows: FloatArray, readings: StoredNumbers) -> StoredNumbers:
    """Return ``kept`` (n) given ``readings`` (m) of ``rows`` (m, n) @ ``kept``.

    The covariance is that of the linear estimate, whatever its gain (Joseph's form), so it is never indefinite.
    """
    new = innovation(kept, rows, readings)
    shared = _effects(kept, new.causes)
    crossed = kept.rest @ rows.T - shared @ new.effects.T
    gain = np.linalg.solve(new.covariance, crossed.T).T
    keep = np.eye(len(kept)) - gain @ rows
    rest = keep @ kept.rest @ keep.T + gain @ readings.rest @ gain.T
    causes = shared + gain @ new.effects
    return replace(
        kept,
        values=kept.values + gain @ new.gap,
        causes={name: causes[:, k] for k, name in enumerate(new.causes)},
        rest=(rest + rest.T) / 2,
    )


def _effects(numbers: StoredNumbers, names: tuple[str, ...]) -> FloatArray:
    """Return the change (n, c) of each number by each cause, 0 where it has no part in it."""
    columns = np.zeros((len(numbers), len(names)))
    for k, name in enumerate(names):
        if name in numbers.causes:
            columns[:, k] = numbers.causes[name]
    return columns
