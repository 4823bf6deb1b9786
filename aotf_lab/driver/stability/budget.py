"""What the oscillator's behaviour in time costs at a set-point: each cause with its u and its light."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Any

import pandas as pd
from scipy import special
from uncertainties import UFloat

from aotf_lab.estimation.wrapped import text_lines
from aotf_lab.physics.coupled_waves import light_lost

__all__ = ["StabilityBudget", "StabilityTerm"]


@dataclass(frozen=True)
class StabilityTerm:
    """One cause: ``error_mhz`` is a variable of mean 0 tagged with ``name``, to be added to a frequency.

    ``share_of_fwhm`` is its u over the passband's width, ``light_lost_percent`` the loss at the 95 % limit,
    ``why`` how it was found. ``in_curve`` is true where a frequency from the oscillator's curve has it already.
    """

    name: str
    error_mhz: UFloat
    share_of_fwhm: float
    light_lost_percent: float
    why: str
    in_curve: bool = False

    @property
    def u_mhz(self) -> float:
        """The standard uncertainty (MHz)."""
        return float(self.error_mhz.s)

    @classmethod
    def of(cls, name: str, error_mhz: UFloat, fwhm_mhz: float, why: str, *, in_curve: bool = False) -> StabilityTerm:
        """Return the term of a known error."""
        share = float(error_mhz.s) / fwhm_mhz
        lost = 100.0 * float(light_lost(special.ndtri(0.975) * share))
        return cls(name, error_mhz, share, lost, why, in_curve)


@dataclass(frozen=True)
class StabilityBudget:
    """The terms, largest first, for a passband of ``fwhm_mhz``; ``missing`` says what could not be stated, and why."""

    terms: tuple[StabilityTerm, ...]
    fwhm_mhz: float
    missing: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[StabilityTerm]:
        return iter(self.terms)

    def __len__(self) -> int:
        return len(self.terms)

    @property
    def error_mhz(self) -> UFloat | float:
        """The sum of all terms: mean 0."""
        return sum((t.error_mhz for t in self.terms), 0.0)

    @property
    def beside_curve_mhz(self) -> UFloat | float:
        """The sum of the terms that a frequency from the oscillator's curve has not yet: add it to that."""
        return sum((t.error_mhz for t in self.terms if not t.in_curve), 0.0)

    @property
    def table(self) -> pd.DataFrame:
        """One row a term, in bench units, with its share of the variance."""
        total = sum(t.u_mhz**2 for t in self.terms)
        rows = [
            {
                "name": t.name, "u_mhz": t.u_mhz, "share_of_fwhm": t.share_of_fwhm,
                "light_lost_percent": t.light_lost_percent, "share_of_variance": t.u_mhz**2 / total if total else 0.0,
                "why": t.why,
            }
            for t in self.terms
        ]  # fmt: skip
        return pd.DataFrame(rows)

    def plot(self, ax: Any = None) -> Any:
        """Draw each term's u as a bar, with the light that it costs; return the Axes."""
        from aotf_lab.drawing.stability import plot_stability_budget

        names, lost = [t.name for t in self.terms], [t.light_lost_percent for t in self.terms]
        return plot_stability_budget(names, [t.u_mhz for t in self.terms], lost, ax=ax)

    def __str__(self) -> str:
        total = StabilityTerm.of("all", self.error_mhz, self.fwhm_mhz, "") if self.terms else None
        lines = [_line(t) for t in (*self.terms, *([total] if total else []))]
        return text_lines([*lines, *(f"not stated: {m}" for m in self.missing)])

    def _repr_html_(self) -> str:
        return f"<pre>{escape(str(self))}</pre>"


def _line(term: StabilityTerm) -> str:
    text = f"{1e3 * term.u_mhz:.2g} kHz, {100 * term.share_of_fwhm:.2g} % of FWHM, "
    text += f"{term.light_lost_percent:.2g} % of light"
    return f"{term.name}: {text}" + (f" ({term.why})" if term.why else "")
