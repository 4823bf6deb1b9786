"""Is a line mislabelled? Each is compared with what the others say of it, and a suspect is named with its cures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.crystal.tuning.cures import cures
from aotf_lab.crystal.tuning.law import TuningLaw, shape_pulls
from aotf_lab.crystal.tuning.lines import LineTable
from aotf_lab.data import CatalogueLine
from aotf_lab.estimation import Check, Fit, LeftOut, Problem, leave_one_out
from aotf_lab.estimation.checks import chi2_limit, z_limit
from aotf_lab.estimation.fit import standardised
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.air import vacuum_to_air

__all__ = ["explained_by_labels", "labels_check"]

_NAME = "line labels"
_TOLD_APART = 6.0
"""Difference of chi2 from which one suspect is 20 times more likely than another."""


_ALONE = "; all the others agree without it"


@dataclass(frozen=True)
class _Suspect:
    """A line without which all the others agree; ``chi2`` is theirs, with the pulls on the priors."""

    left_out: LeftOut
    chi2: float


def labels_check(
    weak: tuple[Problem, Fit], used: Fit, lines: LineTable, law: TuningLaw, known: Sequence[CatalogueLine]
) -> Check:
    """Return the check that every line's wavelength agrees with what the other lines say of it.

    ``weak`` is the fit under the weak priors, by which suspects are judged: a line is suspected
    when all is well without it. ``used`` is the fit in use. ``known`` are lines, beside those of
    the packaged catalogue, that a suspect may really be.
    """
    n = len(lines.labels)
    if n < 3:
        return Check(_NAME, False, f"cannot be checked: {n} lines; a third would show whether a wavelength is wrong")
    if lines.u_frequency_mhz is None:
        return Check(
            _NAME, False, "cannot be checked: no u_frequency_mhz is stated, so nothing says how far is too far"
        )
    problem, fit = weak
    whole, limit = _with_pulls(fit.chi2, fit.values), z_limit(n)
    if np.max(_sizes(fit)) <= limit and whole <= chi2_limit(n - 1):
        return Check(_NAME, True, _largest(fit, lines))
    suspects = _suspects(problem, n)
    if not suspects:
        agree = bool(np.max(_sizes(used)) <= limit)
        reason = "the priors were too narrow" if agree else "leaving out one line does not cure it"
        return Check(_NAME, agree, f"{_largest(used, lines)}; {reason}")
    words = "; or ".join(_words(s, whole, lines, law, known) for s in suspects)
    untold = f"; {n} lines cannot tell which, another would" if len(suspects) > 1 else _ALONE
    if law.beyond_nm(lines.wavelength_nm).size:
        untold += "; beyond the published dispersion the shape itself may be what is wrong"
    return Check(_NAME, False, words + untold, at_stake_mhz=max(abs(s.left_out.gap) for s in suspects))


def explained_by_labels(check: Check, labels: Check) -> Check:
    """Return ``check`` passed where ``labels`` names the one line that explains its failure: one cause, one failure.

    The scatter stays scaled up and the shape stays freed, as the detail says.
    """
    if check.passed or check.name not in ("scatter", "published shape") or not _names_one(labels):
        return check
    return replace(check, passed=True, detail=f"explained by {_NAME!r}, which names one line: {check.detail}")


def _names_one(labels: Check) -> bool:
    """Return whether the check names one line without which all the others agree, and nothing else may be wrong."""
    return not labels.passed and labels.detail.endswith(_ALONE)


def _sizes(fit: Fit) -> FloatArray:
    """Return how far each line lies from the others, in standard uncertainties."""
    return np.where(fit.leverage > 1 - 1e-6, 0.0, np.abs(standardised(fit)))


def _largest(fit: Fit, lines: LineTable) -> str:
    sizes = _sizes(fit)
    worst = int(np.argmax(sizes))
    return (
        f"largest disagreement with the other lines {sizes[worst]:.1f} standard uncertainties, "
        f"at {lines.places[worst]}; limit {z_limit(len(sizes)):.1f}"
    )


def _with_pulls(chi2: float, values: FloatArray) -> float:
    """Return chi2 of the readings and of the weak priors together."""
    return chi2 + sum(pull**2 for pull in shape_pulls(values).values())


def _suspects(problem: Problem, n: int) -> list[_Suspect]:
    """Return the lines without which the others agree, the likeliest first; those much less likely are dropped."""
    every = [_Suspect(left, _with_pulls(left.chi2, left.values)) for left in leave_one_out(problem)]
    cured = sorted((s for s in every if s.chi2 <= chi2_limit(n - 2)), key=lambda s: s.chi2)
    return [s for s in cured if s.chi2 - cured[0].chi2 <= _TOLD_APART]


def _words(suspect: _Suspect, whole: float, lines: LineTable, law: TuningLaw, known: Sequence[CatalogueLine]) -> str:
    """Return what is suspected of a line, the effect of leaving it out, and what would cure it."""
    left, stated = suspect.left_out, float(lines.wavelength_nm[suspect.left_out.row])
    others_nm, u_nm = _place_by_others(left, lines, law)
    may_be = cures(lines, left.row, others_nm, u_nm, known)
    cure = "it would be cured by " + ", ".join(may_be) if may_be else "no catalogue line would cure it"
    return (
        f"{lines.places[left.row]} is probably mislabelled: stated {stated:.2f} nm "
        f"({float(vacuum_to_air(stated)):.2f} in air), and the other lines put it at {others_nm:.2f} +- {u_nm:.2f} nm "
        f"({float(vacuum_to_air(others_nm)):.2f} in air); "
        f"without it chi2 falls from {whole:.1f} to {suspect.chi2:.1f}; {cure}"
    )


def _place_by_others(left: LeftOut, lines: LineTable, law: TuningLaw) -> tuple[float, float]:
    """Return the vacuum wavelength (nm) and its u that the others give the frequency of the line left out.

    Newton's steps from the stated wavelength: the law is smooth and falls throughout.
    """
    row, frequency = left.row, lines.frequency_mhz[left.row]
    nm = lines.wavelength_nm[row : row + 1].copy()
    slope = np.array([1.0])
    for _ in range(20):
        step = 1e-5 * nm
        slope = (law(nm + step, *left.values) - law(nm - step, *left.values)) / (2 * step)
        nm = nm - np.clip((law(nm, *left.values) - frequency) / slope, -0.1 * nm, 0.1 * nm)
    u_stated = 0.0 if lines.u_wavelength_nm is None else lines.u_wavelength_nm[row]
    u_squared = (left.u / slope[0]) ** 2 - u_stated**2
    return float(nm[0]), float(np.sqrt(max(u_squared, 0.0)))
