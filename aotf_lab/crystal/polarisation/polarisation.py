"""The polarisation of a beam, as an analyser sees it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.light_rows import LightRows
from aotf_lab.crystal.polarisation.law import analyser_law
from aotf_lab.crystal.polarisation.unvisited import DARK_ANGLE
from aotf_lab.estimation import Fit, new_cause
from aotf_lab.estimation.named_rows import rows_html, rows_text

__all__ = ["Polarisation"]

_BOUND = 2.0
"""A crossed share below this many of its u is a bound."""


@dataclass(frozen=True)
class Polarisation:
    """The polarisation of one beam, made by ``fit_polarisation``.

    ``axis_deg`` is the direction of most light, above -90 and up to 90 deg: the same after half a turn. It is on the
    bench's scale as far as the rotator's zero is known, and it is 90 deg off if the analyser is marked by the axis
    that it blocks. ``crossed_share`` is the share of the light in the crossed polarisation, as the readings give it; it
    holds what is unpolarised, elliptical, or leaks through the analyser alike: only a wave plate tells these apart.
    ``power_mw`` is the light of both polarisations, as indicated.
    """

    line: str
    axis_deg: UFloat
    crossed_share: UFloat
    power_mw: UFloat
    fit: Fit = field(repr=False)
    rows_of_light: LightRows = field(repr=False)

    @property
    def crossed_bound(self) -> float:
        """The crossed share that is not exceeded (95 %, one side): a share below zero counts as zero."""
        factor = self.fit.coverage_factor(0.90)
        return float(max(self.crossed_share.n, 0.0) + factor * self.crossed_share.s)

    @property
    def is_bound(self) -> bool:
        """Whether no light in the crossed polarisation was seen: then only ``crossed_bound`` is known."""
        return bool(self.crossed_share.n < _BOUND * self.crossed_share.s)

    @property
    def extinction_ratio(self) -> UFloat | None:
        """Most over least light behind the analyser; None where only ``extinction_bound`` is known."""
        if self.is_bound:
            return None
        return (1 - self.crossed_share) / self.crossed_share

    @property
    def extinction_bound(self) -> float:
        """The extinction ratio that is reached at least (95 %)."""
        return (1 - self.crossed_bound) / self.crossed_bound

    def share(self, axis_deg: UFloat | float) -> UFloat:
        """Return the share (0 to 1) of the light that is polarised along ``axis_deg``, a crystal's axis.

        (1 - e) cos^2 d + e sin^2 d with the crossed share e and the difference d of the axes. Where the axes nearly
        agree the share depends on d only in second order; mean and spread of cos 2d over its u are taken exactly
        (normal d), so u does not vanish there (GUM 5.1.2, note).
        """
        gap = (self.axis_deg - axis_deg) * (math.pi / 180.0)
        twice, u = 2.0 * gap.n, 2.0 * gap.s
        shrink = math.exp(-0.5 * u**2)
        mean = math.cos(twice) * shrink
        variance = 0.5 * (1.0 + math.cos(2.0 * twice) * shrink**4) - mean**2
        first = -math.sin(twice) * shrink
        more = max(variance - (first * u) ** 2, 0.0) ** 0.5
        cosine = mean + first * 2.0 * (gap - gap.n) + new_cause("axes that nearly agree, second order", more)
        share: UFloat = 0.5 * (1.0 + (1.0 - 2.0 * self.crossed_share) * cosine)
        return share

    def lost(self, axis_deg: UFloat | float) -> UFloat:
        """Return the share (0 to 1) of the light that a crystal with its axis at ``axis_deg`` cannot diffract."""
        return 1.0 - self.share(axis_deg)

    def plot(self, ax: Any = None) -> Any:
        """Draw the light behind the analyser with the law; return the Axes."""
        from aotf_lab.drawing.polarisation import plot_analyser

        light = self.rows_of_light
        grid = np.linspace(light.setting.min() - 5.0, light.setting.max() + 5.0, 400)
        u = np.zeros_like(light.power_mw) if light.u_power_mw is None else light.u_power_mw
        fitted = analyser_law(grid, *self.fit.values)
        return plot_analyser(grid, fitted, light.setting, light.power_mw, u, float(self.fit.values[1]), ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        ratio = self.extinction_ratio
        why = "no crossed light was seen" if self._dark_visited else "the dark angle was not visited"
        shown = f"above {self.extinction_bound:.2g} (95 %): {why}"
        if ratio is not None:
            shown = f"{ratio:.2uS}, above {self.extinction_bound:.2g} (95 %)"
        return (
            ("axis", f"{self.axis_deg:.2uS} deg, or half a turn from it"),
            ("crossed share", f"{self.crossed_share:.2uS}, below {self.crossed_bound:.2g} (95 %)"),
            ("extinction", shown),
            ("light", f"{self.power_mw:.2uS} mW in both polarisations"),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"),
        )

    @property
    def _dark_visited(self) -> bool:
        return DARK_ANGLE not in [c.name for c in self.fit.failed]

    def _title(self) -> str:
        return f"Polarisation{self.rows_of_light.of_line}: {len(self.rows_of_light.setting)} readings"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)
