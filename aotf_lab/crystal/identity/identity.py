"""Which line of a catalogue is each peak? The best assignment, its rivals, and how sure one can be."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from html import escape
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.identity.assignment import Assignment, Ranking
from aotf_lab.crystal.identity.candidates import Candidates
from aotf_lab.crystal.identity.checks import exchange_check, said_labels_check, scale_check, spare_check
from aotf_lab.crystal.identity.exchanged import Exchange
from aotf_lab.crystal.identity.found import FEWEST_OTHERS, LineFound, curve_through, lines_found
from aotf_lab.crystal.identity.peaks import Peaks
from aotf_lab.crystal.identity.words import chance_words, differences_words, line_words
from aotf_lab.crystal.tuning.law import TuningLaw
from aotf_lab.data import CatalogueLine
from aotf_lab.estimation import Check, Fit, FittedFunction
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.estimation.wrapped import text_lines

__all__ = ["Identity"]


@dataclass(frozen=True, eq=False)
class Identity:
    """Which line is each peak; made by ``identify`` only.

    ``assignments`` are the 50 most probable; ``remaining`` counts those that match as many peaks as the best with a
    chi-square within its limit. ``exchange`` says what the permutations of stated labels give, None without labels.
    Peaks stand in the order of falling frequency. ``scaled`` says whether a scale was stated. ``law`` is the tuning
    law used, ``decided`` the checks that say whether the assignment is known; ``checks`` are all.
    """

    peaks: Peaks = field(repr=False)
    candidates: Candidates = field(repr=False)
    catalogue: tuple[CatalogueLine, ...] = field(repr=False)
    law: TuningLaw
    widened: float
    ranked: Ranking = field(repr=False)
    exchange: Exchange | None
    decided: tuple[Check, ...]
    scaled: bool = False

    @property
    def lone(self) -> bool:
        """Whether there is one peak alone and no scale, so that nothing speaks for any line."""
        return len(self.peaks) == 1 and not self.scaled

    @cached_property
    def found(self) -> tuple[LineFound, ...]:
        """What the other matched lines say of each peak."""
        return lines_found(self.peaks, self.best.lines, self.law, self.widened)

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """What was asked of the peaks and of their labels, and the answers."""
        product = self.velocity_birefringence
        more = (
            scale_check(self.law.material, None if product is None else product.n, self.law.reference_nm),
            None if self.lone else spare_check(self.peaks, self.found),
            exchange_check(self.exchange),
            said_labels_check(self.peaks, self.exchange, self.law.material, self.catalogue),
        )
        return (*self.decided, *(c for c in more if c is not None))

    @property
    def assignments(self) -> tuple[Assignment, ...]:
        """The most probable assignments, the best first."""
        return self.ranked.assignments

    @property
    def best(self) -> Assignment:
        """The most probable assignment."""
        return self.ranked.assignments[0]

    @property
    def runner_up(self) -> Assignment | None:
        """The second most probable assignment, None when there is no other."""
        return self.ranked.assignments[1] if len(self.ranked.assignments) > 1 else None

    @property
    def gap(self) -> float:
        """chi2 of the runner-up minus that of the best; infinite without one. Below zero it pays with fewer lines."""
        return np.inf if self.runner_up is None else self.runner_up.chi2 - self.best.chi2

    @property
    def remaining(self) -> int:
        """How many assignments of as many peaks as the best have a chi-square within its limit."""
        return self.ranked.remaining

    @property
    def ambiguous(self) -> bool:
        """Whether another assignment cannot be ruled out, or nothing matches, or the best does not fit."""
        return any(not c.passed for c in self.decided)

    @property
    def trusted(self) -> bool:
        """Whether every check passed."""
        return all(c.passed for c in self.checks)

    @property
    def failed(self) -> tuple[Check, ...]:
        """The checks that did not pass."""
        return tuple(c for c in self.checks if not c.passed)

    @cached_property
    def lines(self) -> dict[str, CatalogueLine | None]:
        """The line of each peak in the best assignment, None where it is none of them."""
        return dict(zip(self.peaks.names, self.best.lines, strict=True))

    @cached_property
    def probability(self) -> dict[str, float]:
        """The probability, for each peak, that it is what the best assignment says, whatever the others are."""
        columns = [-1 if line is None else self.candidates.lines.index(line) for line in self.best.lines]
        return {
            n: float(self.ranked.chances[row, c])
            for row, (n, c) in enumerate(zip(self.peaks.names, columns, strict=True))
        }

    @cached_property
    def wavelengths(self) -> dict[str, UFloat | None]:
        """The vacuum wavelength (nm) of each peak's light by the curve through the other matched lines."""
        return {each.peak: each.wavelength_nm for each in self.found}

    @cached_property
    def fit(self) -> Fit | None:
        """The tuning law through the matched lines of the best assignment; None with fewer than two."""
        return self._fit_of(self.best)

    def misfits(self, assignment: Assignment) -> FloatArray:
        """Return ``residuals_mhz`` in standard uncertainties of each peak and its line together (n,)."""
        residuals = self.residuals_mhz(assignment)
        nm, u_nm = (np.array([np.nan if x is None else getattr(x, name) for x in assignment.lines])
                    for name in ("wavelength_nm", "u_wavelength_nm"))  # fmt: skip
        slope = self.peaks.frequency_mhz * _slope(self.law, nm)
        return np.asarray(residuals / np.hypot(self.peaks.u_mhz, slope * u_nm))

    def _fit_of(self, assignment: Assignment) -> Fit | None:
        matched = {n: x for n, x in zip(self.peaks.names, assignment.lines, strict=True) if x is not None}
        return curve_through(self.peaks, matched, self.law, self.widened) if len(matched) >= FEWEST_OTHERS else None

    @cached_property
    def velocity_birefringence(self) -> UFloat | None:
        """v B (m/s) at the law's reference wavelength, an error that the frequencies share included."""
        if self.fit is None:
            return None
        nm = self.law.reference_nm
        return FittedFunction(self.fit, self.law)(nm) * nm * 1e-3 * self.peaks.shared

    def residuals_mhz(self, assignment: Assignment) -> FloatArray:
        """Return, for each peak (n,), its frequency minus that of its line by ``assignment``; nan where it has none."""
        fit = self._fit_of(assignment)
        nm = np.array([np.nan if line is None else line.wavelength_nm for line in assignment.lines])
        if fit is None:
            return np.full(len(nm), np.nan)
        known = np.isfinite(nm)
        result = np.full(len(nm), np.nan)
        result[known] = self.peaks.frequency_mhz[known] - self.law(nm[known], *fit.values)
        return result

    def rows(self) -> list[dict[str, Any]]:
        """Return one row for each peak: frequency, line, its probability, wavelength found by the others, gap in u."""
        return [
            {
                "peak": each.peak,
                "frequency_mhz": own,
                "line": None if each.line is None else each.line.name,
                "probability": self.probability[each.peak],
                "stated_nm": None if each.line is None else each.line.wavelength_nm,
                "u_stated_nm": None if each.line is None else each.line.u_wavelength_nm,
                "found_nm": each.wavelength_nm,
                "z": each.z,
            }
            for own, each in zip(self.peaks.own, self.found, strict=True)
        ]

    def plot(self, ax: Any = None) -> Any:
        """Draw the peaks over wavelength against the catalogue, with residuals of the best and the runner-up."""
        from aotf_lab.drawing.identity import plot_identity

        curve = None if self.fit is None else FittedFunction(self.fit, self.law).nominal
        shown = [("best", self.best), *([("runner-up", self.runner_up)] if self.runner_up else [])]
        places = {
            name: np.array([np.nan if line is None else line.wavelength_nm for line in a.lines]) for name, a in shown
        }
        misfits = {name: self.misfits(a) for name, a in shown}
        found_nm = np.array([np.nan if f.wavelength_nm is None else f.wavelength_nm.n for f in self.found])
        lines = self.candidates
        return plot_identity(
            self.peaks.names, self.peaks.frequency_mhz, lines.wavelength_nm, places, misfits, found_nm, curve, ax=ax
        )

    def __str__(self) -> str:
        return text_lines(self._lines_of_text())

    def _repr_html_(self) -> str:
        first, *rest = (escape(line) for line in self._lines_of_text())
        return f"<p><strong>{first}</strong><br>{'<br>'.join(rest)}</p>"

    def _lines_of_text(self) -> list[str]:
        known = "AMBIGUOUS" if self.ambiguous else "known"
        count = f"{len(self.peaks)} peak{'s' * (len(self.peaks) != 1)}"
        title = f"Identity of {count} among {len(self.candidates.lines)} lines: {known}"
        if self.lone:
            return [title, *self.candidates.notes, *(str(c) for c in self.failed)]
        text = [
            title,
            *(self._peak_words(each, own) for each, own in zip(self.found, self.peaks.own, strict=True)),
            f"probability {chance_words(self.best.probability)}, chi2 = {self.best.chi2:.1f} on {self.best.dof}; "
            f"assignments of {self.best.matched} peaks that remain within the limit: {self.remaining}",
        ]
        if self.runner_up is not None:
            text.append(
                f"runner-up: {differences_words(self.peaks.names, self.best, self.runner_up)}; "
                f"chi2 {self.gap:+.1f}, probability {chance_words(self.runner_up.probability)}"
            )
        return [*text, *self.candidates.notes, *(str(c) for c in self.failed)]

    def _peak_words(self, each: LineFound, own: UFloat) -> str:
        frequency = "" if each.peak.endswith("MHz") else f" at {own:.2uS} MHz"
        text = (
            f"{each.peak}{frequency}: {line_words(each.line)}, probability {chance_words(self.probability[each.peak])}"
        )
        if each.wavelength_nm is not None:
            text += f"; found at {each.wavelength_nm:.2uS} nm by the others"
        return text


def _slope(law: TuningLaw, nm: FloatArray) -> FloatArray:
    """Return d log f / d wavelength (1/nm) of the published shape."""
    step = 1e-4 * nm
    high, low = (np.log(law(nm + way * step, 1.0, 0.0, 0.0)) for way in (1, -1))
    return np.asarray((high - low) / (2 * step))
