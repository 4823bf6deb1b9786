"""How the answers of an identity are put into words."""

from __future__ import annotations

from collections.abc import Sequence

from aotf_lab.crystal.identity.assignment import Assignment
from aotf_lab.crystal.identity.exchanged import Exchange
from aotf_lab.data import CatalogueLine

__all__ = ["assignment_words", "chance_words", "differences_words", "exchange_words", "line_words"]


def line_words(line: CatalogueLine | None) -> str:
    """Return a line with its vacuum wavelength, or that it is none."""
    return "none of these lines" if line is None else f"{line.name} ({line.wavelength_nm:.2f} nm)"


def assignment_words(peaks: Sequence[str], lines: Sequence[CatalogueLine | None]) -> str:
    """Return every peak with its line."""
    return ", ".join(f"{peak} = {line_words(line)}" for peak, line in zip(peaks, lines, strict=True))


def differences_words(peaks: Sequence[str], best: Assignment, other: Assignment) -> str:
    """Return in which peaks another assignment differs, and what they are there."""
    apart = [(p, b) for p, a, b in zip(peaks, best.lines, other.lines, strict=True) if a != b]
    return assignment_words([p for p, _ in apart], [b for _, b in apart])


def chance_words(probability: float) -> str:
    """Return a probability that never claims more than can be known."""
    return (
        "above 0.9999" if probability > 0.9999 else f"{probability:.2g}" if probability < 0.1 else f"{probability:.4f}"
    )


def exchange_words(exchange: Exchange) -> str:
    """Return what the permutations of the labels say."""
    if not exchange.peaks:
        return f"no order of the {len(exchange.given)} labels fits better than the one stated"
    names = " and ".join(exchange.given[peak].name for peak in exchange.peaks)
    numbers = (
        f"chi2 falls from {exchange.chi2_given:.1f} to {exchange.chi2_best:.1f}, by {exchange.gap:.1f}; "
        f"limit {exchange.limit:.1f}"
    )
    if not exchange.found:
        return f"exchanging {names} would not help enough: {numbers}"
    put = ", ".join(f"peak {p} = {exchange.best[p].name}" for p in exchange.peaks)
    text = f"the labels of {names} were exchanged: with {put} {numbers}"
    for rival in exchange.rivals:
        others = ", ".join(f"peak {p} = {line.name}" for p, line in rival.items() if line != exchange.given[p])
        text += f"; or {others}"
    if not exchange.cured:
        text += "; even so the lines do not agree: another label is wrong as well, or a wavelength is mistyped instead"
    return text
