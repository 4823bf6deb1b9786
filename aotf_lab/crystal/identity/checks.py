"""What is asked of an identity: is it the only one, does it fit, are there peaks left over, are the labels right?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from aotf_lab.crystal.identity.assignment import Assignment, Ranking
from aotf_lab.crystal.identity.exchanged import Exchange
from aotf_lab.crystal.identity.found import LineFound, line_table
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.crystal.identity.strangers import ghost_of
from aotf_lab.crystal.identity.words import assignment_words, chance_words, differences_words, exchange_words
from aotf_lab.crystal.tuning.labels import labels_check
from aotf_lab.crystal.tuning.law import TuningLaw
from aotf_lab.data import CatalogueLine
from aotf_lab.estimation import Check, fit_problem
from aotf_lab.estimation.checks import chi2_limit
from aotf_lab.physics.phase_matching import INCIDENCE_RANGE_DEG, parallel_tangent_frequency

__all__ = [
    "FEWEST_MATCHED",
    "SURE",
    "exchange_check",
    "fit_check",
    "only_one_check",
    "said_labels_check",
    "scale_check",
    "spare_check",
]

SURE = 0.999
"""Probability from which an assignment counts as known."""
FEWEST_MATCHED = 2
"""Lines matched below which nothing was identified: one line fits any scale."""


def scale_check(material: str, velocity_birefringence_m_s: float | None, wavelength_nm: float) -> Check | None:
    """Return the check that some cut of the crystal has the scale that the peaks ask for; None where that is unknown.

    The reach is that of parallel-tangent cuts between the incidences of ``INCIDENCE_RANGE_DEG``. Within it the peaks
    alone cannot tell a frequency from twice itself.
    """
    if velocity_birefringence_m_s is None or material != "TeO2":
        return None
    low, high = (float(f) for f in parallel_tangent_frequency(wavelength_nm, INCIDENCE_RANGE_DEG))
    found = 1e3 * velocity_birefringence_m_s / wavelength_nm
    passed = low <= found <= high
    detail = f"a line of {wavelength_nm:.4g} nm would stand at {found:.5g} MHz; cuts of the crystal reach "
    detail += f"{low:.3g} to {high:.3g} MHz"
    cure = "; are the frequencies in MHz, and not of a harmonic? state the scale by fit_cut where another wave is used"
    beside = "; that all frequencies are doubled or halved would show only against a cut or another line"
    return Check("scale", passed, detail + (beside if passed else cure))


def only_one_check(peaks: Peaks, ranked: Ranking, scale_known: bool) -> Check:
    """Return the check that one assignment alone remains; else it is ambiguous, and the detail says between what."""
    name, best = "one assignment", ranked.assignments[0]
    if len(peaks) == 1 and not scale_known:
        return Check(
            name, False, "one peak alone may be any line, for the scale of the crystal is not known: measure a second "
            "line, or state the scale, by fit_cut from one line that is known or from a tuning curve",
        )  # fmt: skip
    if best.matched < FEWEST_MATCHED and not (scale_known and best.matched):
        return Check(
            name, False, f"{best.matched} of {len(peaks)} peaks match the catalogue: nothing is identified; "
            "measure more peaks, or give the lines that they may be",
        )  # fmt: skip
    count = (
        f"{ranked.remaining} assignment{'s' * (ranked.remaining != 1)} of {best.matched} peaks within the limit of chi2"
    )
    numbers = f"probability {chance_words(best.probability)}, limit {SURE:g}; {count}"
    rivals = [a for a in ranked.assignments[1:3] if a.probability > (1 - best.probability) / 20]
    if best.probability >= SURE:
        return Check(name, True, f"{assignment_words(peaks.names, best.lines)}: {numbers}")
    others = "; or ".join(
        f"{differences_words(peaks.names, best, a)} (probability {chance_words(a.probability)}, "
        f"chi2 {a.chi2 - best.chi2:+.1f})"
        for a in rivals
    )
    cure = "another peak" if scale_known else "another peak, or a scale from fit_cut,"
    return Check(
        name, False, f"ambiguous: {assignment_words(peaks.names, best.lines)} ({numbers}); or {others}; "
        f"{cure} would decide",
    )  # fmt: skip


def fit_check(best: Assignment) -> Check | None:
    """Return the check that the lines of the best assignment agree; None where nothing is left to compare."""
    if best.dof == 0:
        return None
    limit = chi2_limit(best.dof)
    detail = f"chi2 = {best.chi2:.1f} on {best.dof} degrees of freedom, limit {limit:.1f}"
    if best.consistent:
        return Check("lines agree", True, detail)
    return Check(
        "lines agree", False, f"{detail}: a wavelength or a frequency is off by more than stated, or the crystal is "
        "not as published",
    )  # fmt: skip


def spare_check(peaks: Peaks, found: Sequence[LineFound]) -> Check:
    """Return the check that each peak is a line or the ghost of one, and say where the light of the others lies."""
    ghosts, strangers = [], []
    for row, each in enumerate(found):
        if each.line is not None:
            continue
        ghost = ghost_of(peaks, row)
        if ghost is not None and found[ghost[1]].line is not None:
            ghosts.append(f"{each.peak} is where harmonic {ghost[0]} of the oscillator drives {peaks.names[ghost[1]]}")
        else:
            nm = "" if each.wavelength_nm is None else f" (light of {each.wavelength_nm:.2uS} nm, if it is a line)"
            strangers.append(f"{each.peak}{nm}")
    parts = [*ghosts]
    if strangers:
        parts.append(
            f"none of these lines: {', '.join(strangers)}; a line that the catalogue lacks, stray light, or the other "
            "polarisation"
        )
    return Check("spare peaks", not strangers, "; ".join(parts) or "each peak is a line")


def exchange_check(exchange: Exchange | None) -> Check | None:
    """Return the check that no labels were exchanged."""
    return None if exchange is None else Check("exchanged labels", not exchange.found, exchange_words(exchange))


def said_labels_check(
    peaks: Peaks, exchange: Exchange | None, material: str, catalogue: Sequence[CatalogueLine]
) -> Check | None:
    """Return the check "line labels" of the tuning curve through the peaks as labelled, exchanged ones put right."""
    if exchange is None:
        return None
    said: Mapping[str, CatalogueLine] = exchange.best if exchange.found else exchange.given
    table = line_table(peaks, said, u_law=0.0)
    law = TuningLaw(material, table.reference_nm)
    problem = law.problem(table)
    fit = fit_problem(problem)
    return labels_check((problem, fit), fit, table, law, catalogue)
