"""Every order of lines that the peaks allow: a search, peak by peak, that drops what chi-square rules out.

Each assignment carries what its matched lines say of (log s, tilt, bend); the next peak is compared with each line
that is left, and the squared innovations add up to the chi-square of the whole, priors included (the chain rule of
the normal distribution; Kalman, J. Basic Eng. 82, 35 (1960), from memory). As they only add, an assignment beyond the
bound can be dropped with all that would follow: nothing within the bound is missed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from aotf_lab.crystal.identity.law import LogLaw
from aotf_lab.estimation.problem import FloatArray

__all__ = ["NONE", "Found", "search"]

NONE = -1
"""Stands for "none of these lines"."""

_CROSSING = 4.0
"""Two lines may stand in the other order when their wavelengths are not this many standard uncertainties apart."""

_MOST = 60_000
"""Assignments kept from one peak to the next; beyond, the less likely are dropped and ``complete`` says so."""


@dataclass(frozen=True)
class Found:
    """Assignments: ``lines`` (k, m) the line of each peak, or ``NONE``; ``chi2`` (k,); ``log_evidence`` (k,).

    ``log_evidence`` is the logarithm of the probability density of the peaks' log f under the assignment.
    """

    lines: NDArray[np.intp]
    chi2: FloatArray
    log_evidence: FloatArray
    complete: bool = True


@dataclass(frozen=True)
class _State:
    lines: NDArray[np.intp]
    chi2: FloatArray
    log_evidence: FloatArray
    mean: FloatArray
    covariance: FloatArray
    floor: FloatArray
    used: NDArray[np.bool_]

    def only(self, rows: NDArray[np.intp]) -> _State:
        return _State(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    def followed_by(self, other: _State) -> _State:
        pairs = ((getattr(self, name), getattr(other, name)) for name in self.__dataclass_fields__)
        return _State(*(np.concatenate(pair) for pair in pairs))


def search(law: LogLaw, bound: float, stranger: FloatArray | None, in_order: bool = True) -> Found:
    """Return every assignment whose chi-square is at most ``bound``.

    ``stranger`` (m,) is the log density of each peak as none of the lines; None: each must be a line. ``in_order``:
    as the frequency falls the wavelength rises, as far as wavelengths are known; else any permutation is tried.
    """
    n = len(law.offset)
    state = _State(
        np.zeros((1, 0), dtype=np.intp),
        np.zeros(1),
        np.zeros(1),
        law.prior_mean[None],
        law.prior_covariance[None],
        np.full(1, -np.inf),
        np.zeros((1, n), dtype=bool),
    )
    complete = True
    for peak in range(len(law.log_peak)):
        matched = _matched(state, law, peak, bound, in_order)
        state = matched if stranger is None else matched.followed_by(_passed_over(state, float(stranger[peak])))
        if len(state.chi2) > _MOST:
            complete = False
            state = state.only(np.argsort(-state.log_evidence)[:_MOST])
    return Found(state.lines, state.chi2, state.log_evidence, complete)


def _matched(state: _State, law: LogLaw, peak: int, bound: float, in_order: bool) -> _State:
    """Return ``state`` with the next peak matched to each line that may be it."""
    outer = np.einsum("ni,nj->nij", law.basis, law.basis).reshape(len(law.offset), 9)
    spread = state.covariance.reshape(-1, 9) @ outer.T + law.peak_variance[peak] + law.line_variance
    gap = law.log_peak[peak] - state.mean @ law.basis.T - law.offset
    z2 = gap**2 / spread
    may_be = (state.chi2[:, None] + z2 <= bound) & ~state.used
    reach = _CROSSING * np.sqrt(law.line_variance)
    place = -law.offset  # rises with wavelength
    if in_order:
        may_be &= place + reach > state.floor[:, None]
    row, line = np.nonzero(may_be)
    s, g, base = spread[row, line], gap[row, line], state.only(row)
    gain = np.einsum("kij,kj->ki", base.covariance, law.basis[line])
    used = base.used.copy()
    used[np.arange(len(line)), line] = True
    return _State(
        np.column_stack([base.lines, line]),
        base.chi2 + g**2 / s,
        base.log_evidence - 0.5 * (g**2 / s + np.log(2 * np.pi * s)),
        base.mean + gain * (g / s)[:, None],
        base.covariance - gain[:, :, None] * (gain / s[:, None])[:, None, :],
        np.maximum(base.floor, (place - reach)[line]),
        used,
    )


def _passed_over(state: _State, log_density: float) -> _State:
    """Return ``state`` with the next peak taken as none of the lines."""
    lines = np.column_stack([state.lines, np.full(len(state.chi2), NONE)])
    return replace(state, lines=lines, log_evidence=state.log_evidence + log_density)
