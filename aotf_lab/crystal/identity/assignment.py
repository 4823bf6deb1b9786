"""The assignments by probability: best, runner-up, how many remain, and how sure each peak is.

Probability by Bayes' rule from the evidence of each assignment, in which the unknown scale and shape are integrated
over what is known of them beforehand, so that a freer explanation pays for its freedom (MacKay, Information Theory,
Inference, and Learning Algorithms, ch. 28, from memory). Before any peak is seen: if k are lines, each set of k lines
of the catalogue is as likely as any other; and how often a peak is none of them is itself not known, a Beta
distribution of stated mean, so that each stray peak makes the next one more credible. Ghosts do not count for that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb, log

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, logsumexp

from aotf_lab.crystal.identity.candidates import Candidates
from aotf_lab.crystal.identity.law import LogLaw
from aotf_lab.crystal.identity.search import NONE, Found
from aotf_lab.data import CatalogueLine
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["WRONG_LABEL", "Assignment", "Ranking", "ranking"]

_LISTED = 50


@dataclass(frozen=True)
class Assignment:
    """One way to say which line each peak is; None where it is none of the lines.

    ``chi2`` is that of the matched lines and the weak priors on ``dof`` degrees of freedom, ``probability`` that of
    the whole assignment among all that were found.
    """

    lines: tuple[CatalogueLine | None, ...]
    chi2: float
    dof: int
    probability: float

    @property
    def matched(self) -> int:
        """How many peaks are lines."""
        return sum(line is not None for line in self.lines)

    @property
    def consistent(self) -> bool:
        """Whether chi-square lies within its limit."""
        return self.dof == 0 or self.chi2 <= chi2_limit(self.dof)


@dataclass(frozen=True)
class Ranking:
    """The most probable assignments first; ``remaining`` counts those as full as the best, within their limit.

    ``chances`` (m, lines + 1) is the probability of each line for each peak, the last column that of none of them.
    """

    assignments: tuple[Assignment, ...]
    remaining: int
    chances: FloatArray


WRONG_LABEL = 0.05
"""Chance, before looking, that a label is wrong: a judgement."""


def ranking(
    found: Found,
    law: LogLaw,
    lines: Candidates,
    chance_of_none: float,
    ghosts: NDArray[np.bool_],
    said: Sequence[int | None],
) -> Ranking:
    """Return the assignments of ``found`` by probability; ``ghosts`` (m,): where another peak's ghost would be.

    ``said`` is the line of each peak by its label, None without one: a label is wrong with chance ``WRONG_LABEL``,
    and then says any line.
    """
    m, n = len(law.log_peak), len(lines.lines)
    matched = np.sum(found.lines != NONE, axis=1)
    sets = np.array([log(comb(n, k)) for k in range(min(m, n) + 1)])
    strays = np.sum((found.lines == NONE) & ~ghosts, axis=1)
    against = 1 / chance_of_none - 1
    beforehand = betaln(1 + strays, against + matched) - betaln(1, against) - sets[matched]
    weight = found.log_evidence + beforehand + log(chance_of_none) * (m - matched - strays)
    for peak, line in enumerate(said):
        if line is not None:
            weight += np.where(found.lines[:, peak] == line, log(1 - WRONG_LABEL), log(WRONG_LABEL / n))
    probability = np.exp(weight - logsumexp(weight))
    order = np.argsort(-weight, kind="stable")
    dof = np.array([law.rank(k) for k in range(m + 1)])[matched]
    limits = np.array([chi2_limit(d) if d else np.inf for d in range(m + 1)])
    remain = (matched == matched[order[0]]) & (found.chi2 <= limits[dof])
    chances = np.zeros((m, n + 1))
    for peak in range(m):
        np.add.at(chances[peak], found.lines[:, peak], probability)  # NONE is the last column
    listed = tuple(
        Assignment(
            tuple(None if j == NONE else lines.lines[j] for j in found.lines[k]),
            float(found.chi2[k]),
            int(dof[k]),
            float(probability[k]),
        )
        for k in order[:_LISTED]
    )
    return Ranking(listed, int(np.sum(remain)), chances)
