"""The separation of the orders, colour by colour, and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from uncertainties import UFloat, umath

from aotf_lab.crystal.angles.table import SpotTable
from aotf_lab.errors import FitError, Said
from aotf_lab.estimation import Fit
from aotf_lab.estimation.evaluate import require_inside
from aotf_lab.estimation.named_rows import rows_html, rows_text

__all__ = ["WEDGE_WARNING", "Angles", "Kind", "in_m_s"]

Kind = Literal["law", "registered", "either", "neither", "one colour"]

WEDGE_WARNING = (
    "an exit face that is wedged on purpose sends the diffracted light of all colours in one direction; their place "
    "from one mark then says nothing of the acoustic velocity"
)

_MEANING: dict[str, str] = {
    "law": "the separation goes as wavelength x frequency, as behind faces that are parallel: the velocity follows",
    "registered": "all colours leave in one direction: a wedged exit face; nothing follows for the velocity",
    "either": "the readings cannot tell colours in one direction from colours apart: nothing follows for the velocity",
    "neither": "the separation neither goes as wavelength x frequency nor is it the same for all colours: a wedge in "
    "between, exchanged labels, or spots of another order; nothing follows for the velocity",
    "one colour": "one colour cannot show a wedged exit face: the velocity holds only if the faces are parallel",
}


@dataclass(frozen=True)
class Angles:
    """Separation angles made by ``fit_angles``.

    ``separation_mrad`` is the angle between the orders outside by line, each at its mean frequency
    ``frequency_mhz``; they share the errors of distance and mark. ``kind`` says which law the colours keep:
    "law" (separation as wavelength times frequency), "registered" (all alike), "either" (not to be told),
    "neither", or "one colour". ``apparent_velocity_m_s`` is the acoustic velocity that parallel faces would mean.
    """

    separation_mrad: Mapping[str, UFloat]
    frequency_mhz: Mapping[str, float]
    kind: Kind
    apparent_velocity_m_s: UFloat
    stated_velocity_m_s: UFloat | float | None
    fit: Fit = field(repr=False)
    table: SpotTable = field(repr=False)

    @property
    def velocity_m_s(self) -> UFloat | None:
        """The acoustic velocity (m/s) where the colours keep the law of parallel faces, else None: not known."""
        return self.apparent_velocity_m_s if self.kind == "law" else None

    @property
    def spread_mrad(self) -> UFloat:
        """Colour registration: the largest separation less the smallest (mrad), 0 where the colours fall together."""
        values = sorted(self.separation_mrad.values(), key=lambda value: value.n)
        return values[-1] - values[0]

    @property
    def meaning(self) -> str:
        """What the angles say, in words."""
        return _MEANING[self.kind]

    def separation(self, wavelength_nm: float, frequency_mhz: float) -> UFloat:
        """Return the angle (mrad) between the orders by the law, at a vacuum wavelength and a frequency.

        Raises ``FitError`` where the colours do not keep the law, ``OutOfRangeError`` beyond the frequencies measured.
        """
        if self.kind not in ("law", "one colour"):
            raise FitError(
                "no law of the separation to ask", found=Said(self.meaning),
                allowed="colours whose separation goes as wavelength x frequency",
                cure="use separation_mrad of the lines that were measured",
            )  # fmt: skip
        f = self.table.frequency_mhz
        require_inside("frequency", np.array([frequency_mhz]), float(f.min()), float(f.max()), "MHz")
        return 1e3 * umath.asin(1e-3 * wavelength_nm * frequency_mhz / self.fit.parameters["apparent_velocity_m_s"])

    def plot(self, ax: Any = None) -> Any:
        """Draw the separations against frequency with the law of parallel faces; return the Axes."""
        from aotf_lab.drawing.angles import plot_separations

        names = list(self.separation_mrad)
        values = [self.separation_mrad[n] for n in names]
        place = np.array([self.frequency_mhz[n] for n in names])
        product = self.table.nominal_nm * place
        law = 1e3 * np.arcsin(1e-3 * product / self.fit.parameters["apparent_velocity_m_s"].n)
        y, u = np.array([v.n for v in values]), np.array([v.s for v in values])
        return plot_separations(place, y, u, law, names, self.meaning.split(":")[0], ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        nominal = dict(zip(self.table.names, self.table.nominal_nm, strict=True))
        rows = [
            (f"line {n}" if n else "the line", f"{v:.2uS} mrad at {self.frequency_mhz[n]:.5g} MHz, {nominal[n]:.5g} nm")
            for n, v in self.separation_mrad.items()
        ]
        if len(rows) > 1:
            rows.append(("registration", f"the colours spread over {self.spread_mrad:.2uS} mrad"))
        rows.append(("meaning", self.meaning))
        given = "" if self.kind == "law" else " if the faces were parallel"
        rows.append(("velocity", f"{in_m_s(self.apparent_velocity_m_s)}{given}"))
        rows.append(("mind", WEDGE_WARNING))
        rows.append(("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"))
        return tuple(rows)

    def _title(self) -> str:
        return f"Angles: {len(self.table.spot_mm)} spots of {len(self.table.names)} lines"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)


def in_m_s(velocity: UFloat | float) -> str:
    """Return a velocity in words.

    >>> in_m_s(643.4)
    '643.4 m/s'
    """
    if not isinstance(velocity, UFloat) or velocity.s == 0:
        return f"{velocity:.5g} m/s"
    return f"{velocity.n:.0f} +- {velocity.s:.0f} m/s" if velocity.s > 9.95 else f"{velocity:.2uS} m/s"
