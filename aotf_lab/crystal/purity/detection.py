"""When is a small reading a leak, and how large may a leak be that was not seen?

Of a quantity that cannot be below zero, y is found with standard uncertainty u. By ISO 11929-1:2019 (cited from memory;
the thresholds go back to L. A. Currie, Anal. Chem. 40, 586 (1968)):

- decision threshold: y above k u(0) counts as seen; without a leak that happens in 5 % of cases.
- detection limit: the smallest leak that is seen in 95 % of cases, y# = k u(0) + k u(y#).
- upper limit: what is known beforehand, that nothing is below zero, cuts the normal law about y off at zero; its
  quantile is y + u Phi^-1(1 - 0.05 Phi(y/u)). It covers the truth in 95 % of cases or more whatever the truth
  is (measured in tests/benchmarks/purity.py), and in every case when there is no leak.

Where u comes from the scatter of few readings, Student's t takes the normal law's place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, isfinite

from scipy import special
from uncertainties import UFloat

from aotf_lab.errors import FitError

__all__ = ["CONFIDENCE", "Detection", "decision_threshold", "detection_limit", "upper_limit"]

CONFIDENCE = 0.95


def _quantile(p: float, dof: float) -> float:
    return float(special.stdtrit(dof, p)) if isfinite(dof) else float(special.ndtri(p))


def _chance(z: float, dof: float) -> float:
    return float(special.stdtr(dof, z)) if isfinite(dof) else float(special.ndtr(z))


def decision_threshold(u_zero: float, dof: float = inf, confidence: float = CONFIDENCE) -> float:
    """Return the value above which a leak counts as seen, for the standard uncertainty ``u_zero`` without a leak.

    >>> round(decision_threshold(1.0), 3)
    1.645
    """
    return _quantile(confidence, dof) * u_zero


def detection_limit(u_of: Callable[[float], float], dof: float = inf, confidence: float = CONFIDENCE) -> float:
    """Return the smallest leak that is seen with this chance; ``u_of`` gives the standard uncertainty at a true leak.

    Raises ``FitError`` where the uncertainty grows so fast with the leak that none is.

    >>> round(detection_limit(lambda leak: 1.0), 2)
    3.29
    """
    k = _quantile(confidence, dof)
    threshold = k * u_of(0.0)
    found = 2 * threshold
    for _ in range(200):
        following = threshold + k * u_of(found)
        if abs(following - found) <= 1e-12 * found:
            return following
        found = following
        if not found < 1e6 * threshold:
            break
    raise FitError(
        "no leak is sure to be seen: the uncertainty grows as fast as the leak", found=found,
        allowed="a relative uncertainty below 1/1.645", cure="measure the light that is on more precisely",
    )  # fmt: skip


def upper_limit(value: float, u: float, dof: float = inf, confidence: float = CONFIDENCE) -> float:
    """Return the most that a quantity may be, known not to be below zero and found as ``value`` with ``u``.

    >>> [round(upper_limit(y, 1.0), 2) for y in (-2.0, 0.0, 5.0)]
    [1.05, 1.96, 6.64]
    """
    if u == 0:
        return max(value, 0.0)
    outside = (1.0 - confidence) * _chance(value / u, dof)
    return value - u * _quantile(outside, dof)


@dataclass(frozen=True)
class Detection:
    """A leak as found, 0 or more in truth, with the degrees of freedom of its uncertainty.

    ``tests`` is how many leaks are looked at together: the chance of 5 % to see one where there is none is shared.
    """

    value: UFloat
    dof: float = inf
    tests: int = 1

    @property
    def threshold(self) -> float:
        """The decision threshold."""
        return decision_threshold(self.value.s, self.dof, 1.0 - (1.0 - CONFIDENCE) / self.tests)

    @property
    def seen(self) -> bool:
        """Whether it stands above the decision threshold."""
        return bool(self.value.n > self.threshold)

    @property
    def upper(self) -> float:
        """The most that it may be (95 %)."""
        return upper_limit(self.value.n, self.value.s, self.dof)
