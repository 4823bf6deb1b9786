"""Were labels exchanged? The labels are tried on their peaks in every order that could be better."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.identity.candidates import Candidates
from aotf_lab.crystal.identity.law import log_law
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.crystal.identity.search import search
from aotf_lab.data import CatalogueLine
from aotf_lab.errors import ReadingsError, Said
from aotf_lab.estimation.checks import SIGNIFICANCE, chi2_limit

__all__ = ["Exchange", "exchanged_labels", "stated_labels"]

_TOLD_APART = 6.0
"""Difference of chi2 from which one permutation is 20 times more likely than another."""
_SLACK = 1e-9


@dataclass(frozen=True)
class Exchange:
    """What the permutations of the labels say.

    ``given`` and ``best`` are the line of each labelled peak, as stated and by the permutation of least chi-square;
    ``rivals`` are other permutations within 6 of the best. ``limit`` is the gap of chi-square above which the labels
    count as exchanged: chance reaches it for any pair in ``SIGNIFICANCE`` of cases at the most, as likelihood
    ratios of e^(gap/2) have a chance below e^(-gap/2).
    """

    given: Mapping[str, CatalogueLine]
    best: Mapping[str, CatalogueLine]
    rivals: tuple[Mapping[str, CatalogueLine], ...]
    chi2_given: float
    chi2_best: float
    limit: float

    @property
    def gap(self) -> float:
        """By how much the best permutation lowers chi-square."""
        return self.chi2_given - self.chi2_best

    @property
    def peaks(self) -> tuple[str, ...]:
        """The peaks whose label is another one in the best permutation."""
        return tuple(peak for peak in self.given if self.best[peak] != self.given[peak])

    @property
    def found(self) -> bool:
        """Whether labels were exchanged beyond doubt."""
        return self.gap > self.limit

    @property
    def cured(self) -> bool:
        """Whether all agrees once the labels are put right."""
        return self.found and self.chi2_best <= chi2_limit(max(len(self.given) - 1, 1))


def stated_labels(
    peaks: Peaks, catalogue: Sequence[CatalogueLine], labels: Mapping[str, str] | None
) -> dict[str, CatalogueLine]:
    """Return the line that each labelled peak is said to be, in the order of the peaks.

    Without ``labels`` (name of peak -> name of line) a peak with the name of a line is said to be that line. Raises
    ``ReadingsError`` for a label that is no peak's or no line's, and for one line given to two peaks.
    """
    by_name = {line.name: line for line in catalogue}
    if labels is None:
        return {name: by_name[name] for name in peaks.names if name in by_name}
    for peak, line in labels.items():
        if peak not in peaks.names or line not in by_name:
            raise ReadingsError(
                f"label of peak {peak}", found=Said(f"{peak} -> {line}"),
                allowed=f"peaks {', '.join(peaks.names)}; lines {', '.join(by_name)}",
                cure="use the names of the peaks and of the lines of the catalogue",
            )  # fmt: skip
    twice = {line for line in labels.values() if list(labels.values()).count(line) > 1}
    if twice:
        raise ReadingsError(
            "one line given to two peaks", found=Said(", ".join(sorted(twice))), allowed="each line for one peak",
            cure="correct the labels, or leave the doubtful ones out",
        )  # fmt: skip
    return {name: by_name[labels[name]] for name in peaks.names if name in labels}


def exchanged_labels(
    peaks: Peaks, stated: Mapping[str, CatalogueLine], material: str, scale: UFloat | None, widened: float = 1.0
) -> Exchange | None:
    """Return what all permutations of the ``stated`` labels say; None with fewer than two.

    The chi-square of the labels as stated, and of the labels in the order of their wavelengths, bound the search,
    which drops a permutation as soon as it is worse than both: the best of all is found, no permutation is left out.
    """
    if len(stated) < 2:
        return None
    rows = [peaks.names.index(name) for name in stated]
    some = replace(peaks, names=tuple(stated), own=tuple(peaks.own[r] for r in rows))
    by_wavelength = sorted(stated.values(), key=lambda line: line.wavelength_nm)
    law = log_law(some, Candidates(tuple(by_wavelength), ()), material, scale, widened)
    n = len(stated)
    every = np.arange(n)
    as_stated = np.array([by_wavelength.index(line) for line in stated.values()])
    chi2_given = law.chi2(every, as_stated)
    bound = min(chi2_given, law.chi2(every, every))
    found = search(law, bound + _TOLD_APART + _SLACK * (1 + bound), None, in_order=False)
    order = np.argsort(found.chi2)
    best, chi2_best = found.lines[order[0]], float(found.chi2[order[0]])
    near = [found.lines[k] for k in order[1:] if found.chi2[k] < chi2_best + _TOLD_APART]
    if np.array_equal(best, as_stated):
        chi2_best = chi2_given

    def named(lines: np.ndarray) -> dict[str, CatalogueLine]:
        return {peak: by_wavelength[j] for peak, j in zip(stated, lines, strict=True)}

    limit = 2 * log(n * (n - 1) / 2 / SIGNIFICANCE)
    return Exchange(dict(stated), named(best), tuple(named(k) for k in near), chi2_given, chi2_best, limit)
