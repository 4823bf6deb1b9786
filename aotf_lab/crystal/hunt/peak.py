"""A peak of a sweep, and what it could be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from uncertainties import UFloat

__all__ = ["CONFIDENT", "KINDS", "Explanation", "Kind", "Peak"]

Kind = Literal["line", "sidelobe", "ghost", "other polarisation", "unexplained", "ambiguous"]

KINDS: tuple[Kind, ...] = ("line", "sidelobe", "ghost", "other polarisation", "unexplained", "ambiguous")

CONFIDENT = 0.99
"""Share of the weight that an explanation needs to be taken; below it the peak is called ambiguous."""


@dataclass(frozen=True)
class Explanation:
    """What a peak could be. ``share`` is its weight among all explanations of the peak, which add up to 1.

    ``statement`` holds the numbers found and their limits; ``partner`` is the number of the peak that it belongs to,
    ``order`` that of the oscillator's harmonic or of the sidelobe, ``name`` the line's.
    """

    kind: Kind
    share: float
    statement: str
    partner: int | None = None
    order: int | None = None
    name: str = ""

    def __str__(self) -> str:
        return f"{self.title} ({100 * self.share:.3g} %): {self.statement}"

    @property
    def title(self) -> str:
        """The explanation in a few words."""
        if self.kind == "ghost":
            harmonic = {2: "2nd", 3: "3rd"}.get(self.order or 0, f"{self.order}th")
            if self.name or self.partner is None:
                whose = f"line {self.name}" if self.name else "a line beyond the sweep"
            else:
                whose = f"peak {self.partner}"
            return f"ghost of {whose} by the {harmonic} harmonic"
        if self.kind == "sidelobe":
            return f"sidelobe of peak {self.partner}"
        if self.kind == "other polarisation":
            return f"other polarisation of peak {self.partner}"
        return f"line {self.name}".rstrip() if self.kind == "line" else self.kind


@dataclass(frozen=True)
class Peak:
    """A peak of the sweep; numbers are true values that share their causes of error with all other peaks.

    - ``frequency_mhz``: its centre. ``fwhm_mhz``: full width at half height, None where the sweep does not tell it.
    - ``power_mw``: height above the floor. ``prominence_mw``: height above the higher of the saddles beside it in the
      fitted sweep, zero for a shoulder.
    - ``significance``: height over its standard uncertainty.
    - ``kind``: what it is; "ambiguous" where no explanation has ``CONFIDENT`` of the weight.
    - ``explanations``: all that were weighed, the likeliest first. ``notes``: edge of the sweep, too few readings.

    Of a peak that an end of the sweep cuts off, the u of the frequency reaches a width further, and the power is the
    most that was read, with half of it as its u.
    """

    number: int
    frequency_mhz: UFloat
    fwhm_mhz: UFloat | None
    power_mw: UFloat
    prominence_mw: float
    significance: float
    kind: Kind
    explanations: tuple[Explanation, ...] = field(repr=False)
    notes: tuple[str, ...] = ()

    @property
    def best(self) -> Explanation:
        """The likeliest explanation."""
        return self.explanations[0]

    @property
    def partner(self) -> int | None:
        """The number of the peak that it belongs to, where its kind is settled."""
        return None if self.kind == "ambiguous" else self.best.partner

    @property
    def order(self) -> int | None:
        """The order of the oscillator's harmonic, or of the sidelobe, where its kind is settled."""
        return None if self.kind == "ambiguous" else self.best.order

    @property
    def name(self) -> str:
        """The name of its line, where there is one."""
        return "" if self.kind == "ambiguous" else self.best.name

    @property
    def title(self) -> str:
        """What it is, in a few words; of an ambiguous peak, all that it could be."""
        if self.kind != "ambiguous":
            return self.best.title
        return "ambiguous: " + ", or ".join(e.title for e in self.explanations if e.share > (1.0 - CONFIDENT) / 2)

    def __str__(self) -> str:
        width = "" if self.fwhm_mhz is None else f", FWHM {1e3 * self.fwhm_mhz:.2uS} kHz"
        notes = f" [{'; '.join(self.notes)}]" if self.notes else ""
        return f"{self.frequency_mhz:.2uS} MHz, {1e3 * self.power_mw:.2uS} uW{width}: {self.title}{notes}"
