"""The standard uncertainty of each block's mean, allowing for noise that is correlated in time.

The statistical inefficiency g = n u^2 / s^2 (1 for independent readings; for noise of first order
with correlation rho between neighbours (1 + rho)/(1 - rho)) belongs to meter and laser, not to one
block: it is taken from all blocks together, and each block has its own scatter s. Two neighbouring
levels of batches give it free of the error of order 1/length (each level is short of the truth by c/length, so
2 V(2L) - V(L) is not). The length is the smallest L with L^3 > 2 n g^2 (R. M. Lee, G. J. Conduit, N. Nemec,
P. Lopez Rios and N. D. Drummond, Phys. Rev. E 83, 066706 (2011); from memory). A block whose own batches scatter more
than that, beyond chance, has the larger u of its own batches; none is ever made smaller.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import special

from aotf_lab.estimation.checks import SIGNIFICANCE
from aotf_lab.reading.long.batches import LEVELS, Scatter
from aotf_lab.reading.long.growing import Growing

__all__ = ["SHORT", "BlockScatter", "Noise", "ScatterStore"]

Array = NDArray[np.float64]

SHORT = 32
"""Readings below which a block cannot show how its noise is correlated."""

_OWN_BATCHES = 16
_MOST_KEPT = 10_000
_FEW = 10
_STILL_RISING = 1.15


@dataclass(frozen=True)
class Noise:
    """What the blocks say together: ``inefficiency`` g (NaN: cannot be told), found with batches of ``batch_rows``.

    ``settled`` is false where g still rises at the longest batches: the correlation is longer than the blocks show.
    """

    inefficiency: float
    batch_rows: int
    settled: bool


@dataclass(frozen=True)
class BlockScatter:
    """Of each block the readings ``count``, ``mean``, ``spread`` (standard deviation, NaN for one reading), and ``u``
    of the mean; ``own`` where its own batches set u, ``borrowed`` where a short block took the spread of the others."""

    count: NDArray[np.int64]
    mean: Array
    spread: Array
    u: Array
    own: NDArray[np.bool_]
    borrowed: NDArray[np.bool_]
    noise: Noise


@dataclass
class ScatterStore:
    """Collects the blocks one after the other, in little memory."""

    count: Growing = field(default_factory=Growing)
    mean: Growing = field(default_factory=Growing)
    plain: Growing = field(default_factory=Growing)
    own: Growing = field(default_factory=Growing)
    batches: Growing = field(default_factory=Growing)
    _ratios: Growing = field(default_factory=Growing)
    _stride: int = 1
    _seen: int = 0

    def add(self, scatter: Scatter) -> None:
        """Add closed blocks."""
        level = np.maximum(np.floor(np.log2(np.maximum(scatter.count, 1) / _OWN_BATCHES)), 0).astype(np.int64)
        rows = np.arange(len(level))
        self.count.extend(scatter.count)
        self.mean.extend(scatter.mean)
        self.plain.extend(scatter.variance[:, 0])
        self.own.extend(scatter.variance[rows, level])
        self.batches.extend(scatter.count >> level)
        self._keep(scatter)

    def _keep(self, scatter: Scatter) -> None:
        """Keep the ratios of some blocks, evenly spread over the log."""
        chosen = (self._seen + np.arange(len(scatter.count))) % self._stride == 0
        self._seen += len(chosen)
        chosen &= (scatter.count >= SHORT) & (scatter.variance[:, 0] > 0)
        if chosen.any():
            ratios = scatter.variance[chosen] / scatter.variance[chosen, :1]
            self._ratios.extend(np.column_stack([scatter.count[chosen], ratios]).ravel())
        if len(self._ratios) > _MOST_KEPT * (LEVELS + 1):
            self._ratios.thin(LEVELS + 1)
            self._stride *= 2

    def noise(self) -> Noise:
        """Return the inefficiency of the noise within the blocks."""
        if not len(self._ratios):
            return Noise(float("nan"), 0, False)
        table = self._ratios.values.reshape(-1, LEVELS + 1)
        rows = float(np.median(table[:, 0]))
        typical = np.array([_typical(table[:, 1 + k], table[:, 0] / 2.0**k) for k in range(LEVELS)])
        usable = np.flatnonzero(np.isfinite(typical))
        for k in usable[:-1]:
            if 2.0 ** (3 * k) > 2.0 * rows * typical[k] ** 2:
                return Noise(max(float(2.0 * typical[k + 1] - typical[k]), 1.0), 2 ** int(k + 1), True)
        top = int(usable[-1])
        before = typical[max(top - 1, 0)]
        best = max(float(2.0 * typical[top] - before), float(typical[top]), 1.0)
        return Noise(best, 2**top, bool(typical[top] < _STILL_RISING * before))

    def result(self) -> BlockScatter:
        """Return mean, spread and u of every block added, in order."""
        noise = self.noise()
        count, plain = self.count.integers, self.plain.values
        own_variance, batches = self.own.values, self.batches.integers
        single = plain * count
        borrowed = count < SHORT // 2
        if borrowed.any():
            enough = single[~borrowed] if not borrowed.all() else single[count >= 2]
            usual = float(np.mean(enough)) if borrowed.all() and len(enough) else _median(enough)
            plain = np.where(borrowed, usual / count, plain)
        factor = noise.inefficiency if np.isfinite(noise.inefficiency) else 1.0
        variance = plain * factor
        dof = np.maximum(batches - 1, 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            own = own_variance * dof / variance > special.chdtri(dof, SIGNIFICANCE)
        own &= ~borrowed
        u = np.sqrt(np.where(own, own_variance, variance))
        u[~(u > 0)] = np.nan
        return BlockScatter(count, self.mean.values, np.sqrt(single), u, own, borrowed, noise)


def _median(values: Array) -> float:
    return float(np.median(values)) if len(values) else float("nan")


def _typical(ratios: Array, batches: Array) -> float:
    """Return the mean ratio of a level without the blocks that drift or change within, whose ratio is beyond chance.

    What is beyond chance is judged from the median, which such blocks cannot move; of chi-square over its degrees of
    freedom it lies below 1, and is divided by what it is for independent noise.
    """
    good = np.isfinite(ratios) & (batches >= 4)
    if np.count_nonzero(good) < max(1, len(ratios) // 2):
        return float("nan")
    if np.count_nonzero(good) < _FEW:
        return float(np.mean(ratios[good]))
    dof = np.median(np.floor(batches[good])) - 1.0
    typical = np.median(ratios[good]) / (special.chdtri(dof, 0.5) / dof)
    limit = typical * special.chdtri(dof, SIGNIFICANCE) / dof
    return float(np.mean(ratios[good & (ratios <= limit)]))
