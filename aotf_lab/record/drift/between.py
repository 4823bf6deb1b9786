"""Straight terms fitted to records that scatter from one to the next by more than they say, by an unknown amount.

y = X b + scatter + errors: the errors have the covariance C that the records state, the scatter between records has an
unknown standard deviation s. A share r of its variance may be wander: a random walk over the days that grows by r s^2
over the mean gap of two records; the rest is new for each record. Nothing is fixed at one s or r: every result is a
mean over both, weighted by the restricted likelihood (Patterson and Thompson, Biometrika 58, 545 (1971)) and its
Jeffreys prior of s^2, as O. Bodnar and others do with a prior of that kind (Stat. Med. 36, 378 (2017)). Without wander
it is least squares with Student t where C is small, and least squares with the stated errors where s is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg

from aotf_lab.errors import ReadingsError
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.record.drift.scattered import Scattered, ScatterKind
from aotf_lab.record.drift.wander import Wander

__all__ = ["Known", "fit_scattered"]

_POINTS = 160
_BELOW, _ABOVE = 1e-2, 30.0
"""Ends of the grid of s over the typical spread; the upper one is further out the fewer the degrees of freedom."""
_SHARES = (0.0, 0.03, 0.1, 0.3, 0.97)
"""Shares of wander, each as likely before the records are seen."""
_NEGLIGIBLE = 1e-7


@dataclass(frozen=True)
class Known:
    """A term that other readings have told: its ``place`` among the columns, ``value`` and standard uncertainty."""

    place: int
    value: float
    u: float


@dataclass(frozen=True, eq=False)
class _Records:
    columns: FloatArray
    y: FloatArray
    covariance: FloatArray
    known: tuple[Known, ...]


def fit_scattered(
    columns: FloatArray,
    y: FloatArray,
    covariance: FloatArray,
    known: tuple[Known, ...] = (),
    days: FloatArray | None = None,
) -> Scattered:
    """Return the terms of ``columns`` (n, p) in ``y`` (n,), whose stated errors have ``covariance`` (n, n).

    The first column is an offset. ``days`` (n,) of the records allow for wander; without them, or all on one day, there
    is none. Raises ``ReadingsError`` unless records and known terms together exceed the columns by one or more.
    """
    n, p = columns.shape
    dof = n + len(known) - p
    if dof < 1:
        raise ReadingsError(
            "too few records for these terms", found=n, allowed=f"at least {n + 1 - dof}", cure="take one more record"
        )
    records = _Records(columns, y, covariance, known)
    wander = None if days is None or np.ptp(days) == 0 else Wander(days)
    sizes = _sizes(records, dof)
    kinds = [_kind(records, sizes, share, wander) for share in (_SHARES if wander else (0.0,))]
    top = max(float(kind.log.max()) for kind in kinds)
    kept = tuple(k for k in (kind.at(kind.log - top > np.log(_NEGLIGIBLE)) for kind in kinds) if len(k.log))
    weight = np.exp(np.concatenate([kind.log for kind in kept]) - top)
    return Scattered(kept, weight / weight.sum(), wander, dof)


def _kind(records: _Records, sizes: FloatArray, share: float, wander: Wander | None) -> ScatterKind:
    """Return the terms for all ``sizes`` (g,) of the scatter with one share of wander.

    The generalised eigenvectors make C diagonal and the covariance of a scatter of size 1 the unit matrix.
    """
    n, p = records.columns.shape
    kernel = np.eye(n)
    if wander is not None:
        kernel = (1.0 - share) * kernel + share * wander.covariance
    stated, vectors = linalg.eigh(records.covariance, kernel)
    turn = vectors.T
    x = np.vstack([turn @ records.columns, *(np.eye(p)[[term.place]] for term in records.known)])
    z = np.concatenate([turn @ records.y, [term.value for term in records.known]])
    variance = np.concatenate([np.clip(stated, 0.0, None), [term.u**2 for term in records.known]])
    counts = np.concatenate([np.ones(n), np.zeros(len(records.known))])
    w = 1.0 / (variance + sizes[:, None] ** 2 * counts)
    normal = np.einsum("gn,ni,nj->gij", w, x, x)
    inverse = np.linalg.inv(normal)
    values = np.einsum("gij,gn,nj,n->gi", inverse, w, x, z, optimize=True)
    rest = z - values @ x.T
    log = 0.5 * (np.sum(np.log(w), axis=1) - np.linalg.slogdet(normal)[1] - np.sum(w * rest**2, axis=1))
    log += np.linalg.slogdet(turn)[1] + _log_prior(w, x, counts, inverse) + 2.0 * np.log(sizes)
    return ScatterKind(share, sizes, log, values, inverse, turn, x[:n], rest[:, :n], w[:, :n])


def _sizes(records: _Records, dof: int) -> FloatArray:
    """Return the sizes of the scatter (g,), even in the logarithm, over all that could be."""
    x, y = records.columns, records.y
    rest = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    stated = float(np.mean(np.diag(records.covariance)))
    typical = max(stated, float(rest @ rest) / max(len(y) - 1, 1)) ** 0.5 or 1e-12
    return np.asarray(np.geomspace(_BELOW * typical, _ABOVE * 10.0 ** (4.0 / dof) * typical, _POINTS))


def _log_prior(w: FloatArray, x: FloatArray, counts: FloatArray, inverse: FloatArray) -> FloatArray:
    """Return the logarithm (g,) of Jeffreys' prior of s^2: half that of trace (P K P K), P of restricted likelihood."""
    square = np.einsum("gn,ni,nj->gij", w**2 * counts, x, x)
    cube = np.einsum("gn,ni,nj->gij", w**3 * counts, x, x)
    inner = inverse @ square
    trace = np.sum(w**2 * counts, axis=1) - 2.0 * np.einsum("gij,gji->g", inverse, cube)
    trace += np.einsum("gij,gji->g", inner, inner)
    return np.asarray(0.5 * np.log(np.maximum(trace, 1e-300)))
