"""Terms that are known for each size and kind of the scatter: their means, intervals, and what comes later."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import optimize, special

from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.drift.wander import Wander

__all__ = ["ScatterKind", "Scattered"]

_ONE_SIGMA = 0.682689492


@dataclass(frozen=True, eq=False)
class ScatterKind:
    """One ``share`` of wander in the scatter, for all sizes ``scatter`` (g,) of it.

    ``log`` (g,) is the logarithm of the weight; ``values`` (g, p) and ``covariance`` (g, p, p) are the terms. ``turn``
    (n, n) makes the records independent of each other: then their rows of the columns are ``columns`` (n, p), their
    residuals ``rest`` (g, n), and one over their variances ``weights`` (g, n).
    """

    share: float
    scatter: FloatArray
    log: FloatArray
    values: FloatArray
    covariance: FloatArray
    turn: FloatArray
    columns: FloatArray
    rest: FloatArray
    weights: FloatArray

    def at(self, keep: FloatArray) -> ScatterKind:
        """Return the sizes of the scatter that ``keep`` names."""
        return ScatterKind(
            self.share, self.scatter[keep], self.log[keep], self.values[keep], self.covariance[keep], self.turn,
            self.columns, self.rest[keep], self.weights[keep],
        )  # fmt: skip

    def later(
        self, combination: FloatArray, near: FloatArray, size: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return what ``Scattered.later`` does, for these sizes (g,).

        ``near`` (n,) is the covariance of the walk on that day with the records, ``size`` its variance.
        """
        if self.share == 0:
            known = np.einsum("i,gij,j->g", combination, self.covariance, combination)
            return self.values @ combination, self.scatter**2, known
        own = 1.0 - self.share + self.share * size
        turned, variance = self.turn @ (self.share * near), self.scatter**2
        pull = variance[:, None] * self.weights * turned
        mean = self.values @ combination + np.sum(pull * self.rest, axis=1)
        left = combination - pull @ self.columns
        known = np.einsum("gi,gij,gj->g", left, self.covariance, left)
        return mean, variance * (own - np.sum(pull * turned, axis=1)), known


@dataclass(frozen=True, eq=False)
class Scattered:
    """Terms (p) for each kind and size (g in all) of the scatter between records, made by ``fit_scattered``.

    ``weight`` (g,) has the sum 1; ``wander`` is None where none is allowed for. ``dof`` are the degrees of freedom from
    which the scatter is known.
    """

    kinds: tuple[ScatterKind, ...]
    weight: FloatArray
    wander: Wander | None
    dof: int

    @cached_property
    def scatter(self) -> FloatArray:
        """The scatter between records (g,), wander over the mean gap of two included, in the unit of the records."""
        return np.concatenate([kind.scatter for kind in self.kinds])

    @cached_property
    def values(self) -> FloatArray:
        """The terms (g, p)."""
        return np.concatenate([kind.values for kind in self.kinds])

    @cached_property
    def covariance(self) -> FloatArray:
        """The covariance (g, p, p) of the terms."""
        return np.concatenate([kind.covariance for kind in self.kinds])

    @property
    def wander_share(self) -> float:
        """The share of wander in the variance of the scatter, mean over all kinds."""
        shares = np.concatenate([np.full(len(kind.scatter), kind.share) for kind in self.kinds])
        return float(self.weight @ shares)

    @property
    def mean(self) -> FloatArray:
        """The terms (p,), mean over the scatter."""
        return np.asarray(self.weight @ self.values)

    @cached_property
    def likeliest(self) -> int:
        """The place (among g) of the likeliest scatter."""
        return int(np.argmax(self.weight))

    def u_of(self, combination: FloatArray) -> float:
        """Return the standard uncertainty of ``combination`` (p,) of the terms: half of its 68.3 % interval."""
        low, high = self.interval(combination, confidence=_ONE_SIGMA)
        return 0.5 * (high - low)

    def interval(
        self, combination: FloatArray, *, more_variance: float = 0.0, confidence: float = 0.95
    ) -> tuple[float, float]:
        """Return the interval of ``combination`` (p,) of the terms plus an error of mean 0 with ``more_variance``.

        Raises ``AotfLabError`` for a confidence outside 0 to 1.
        """
        if not 0 < confidence < 1:
            raise AotfLabError(
                "coverage probability", found=confidence, allowed="between 0 and 1", cure="ask for 0.95, say"
            )
        means = self.values @ combination
        u = np.sqrt(np.einsum("i,gij,j->g", combination, self.covariance, combination) + more_variance)
        tail = 0.5 * (1.0 - confidence)
        return self._quantile(means, u, tail), self._quantile(means, u, 1.0 - tail)

    def _quantile(self, means: FloatArray, u: FloatArray, chance: float) -> float:
        """Return what is not exceeded with ``chance``."""
        low, high = float(np.min(means - 40.0 * u)), float(np.max(means + 40.0 * u))
        return float(optimize.brentq(lambda x: float(self.weight @ special.ndtr((x - means) / u)) - chance, low, high))

    def later(self, combination: FloatArray, day: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the mean (g,) of what an exact record on a ``day`` after the last would be, and its variance in two.

        They are that (g,) of its own scatter and that (g,) of what is not known of the terms. ``combination`` (p,) is
        that of the terms on that day. Universal kriging (Rasmussen and Williams, Gaussian Processes for Machine
        Learning (2006), 2.7).
        """
        near, size = np.zeros(len(self.kinds[0].turn)), 0.0
        if self.wander is not None:
            near, size = self.wander.covariance_at(day)
        parts = [kind.later(combination, near, size) for kind in self.kinds]
        mean, own, known = (np.concatenate(part) for part in zip(*parts, strict=True))
        return mean, own, known

    def scatter_quantile(self, chance: float) -> float:
        """Return the scatter between records that is not exceeded with ``chance``."""
        order = np.argsort(self.scatter)
        weight = self.weight[order]
        return float(np.interp(chance, np.cumsum(weight) - 0.5 * weight, self.scatter[order]))
