"""The size of a beam from a knife edge."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.light_rows import LightRows
from aotf_lab.estimation import Fit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.beams import EDGE_PER_DIAMETER, beam_diameter, edge_share

__all__ = ["BeamSize"]


@dataclass(frozen=True)
class BeamSize:
    """The beam along the direction in which the edge moved, made by ``fit_beam_size``.

    ``diameter_mm`` is that at 1/e^2 of the peak, for a Gaussian beam D4sigma of ISO 11146-1; ``centre_mm`` on the
    stage's scale; ``power_mw`` the light of the whole beam and ``background_mw`` what passes the edge when it covers
    the beam, both as the meter indicates. ``shift_mm`` is half of the distance by which the two ways disagree (meter's
    lag, or backlash), None for one way. ``expected_mw`` (n,) is the fitted power at each reading.

    It holds across the edge only: an elliptical beam needs the other direction measured as well.
    """

    line: str
    diameter_mm: UFloat
    centre_mm: UFloat
    power_mw: UFloat
    background_mw: UFloat
    shift_mm: UFloat | None
    fit: Fit = field(repr=False)
    rows_of_light: LightRows = field(repr=False)
    directions: FloatArray = field(repr=False)
    expected_mw: FloatArray = field(repr=False)

    @property
    def edge_width_mm(self) -> UFloat:
        """Travel of the edge from 90 % to 10 % of the light (mm): 0.6408 of the diameter."""
        return EDGE_PER_DIAMETER * self.diameter_mm

    def diameter_from_waist(self, distance_mm: float, wavelength_nm: float) -> UFloat:
        """Return the 1/e^2 diameter (mm) ``distance_mm`` further on, if the edge stood at the beam's waist.

        D0 sqrt(1 + (z / z_R)^2) of an ideal Gaussian beam. A beam that is not at its waist here, or not ideal, spreads
        otherwise: measure at the place where the size counts.
        """
        d0, step = self.diameter_mm.n, 1e-6 * self.diameter_mm.n
        up, down = (float(beam_diameter(d0 + s, distance_mm, wavelength_nm)) for s in (step, -step))
        at = float(beam_diameter(d0, distance_mm, wavelength_nm))
        return at + (up - down) / (2 * step) * (self.diameter_mm - d0)

    def plot(self, ax: Any = None) -> Any:
        """Draw the light past the edge with the fit; return the Axes."""
        from aotf_lab.drawing.beam import plot_knife_edge

        light = self.rows_of_light
        u = np.zeros_like(light.power_mw) if light.u_power_mw is None else light.u_power_mw
        ways = {"up": self.directions > 0, "down": self.directions < 0, "": self.directions == 0}
        read = {way: (light.setting[rows], light.power_mw[rows], u[rows]) for way, rows in ways.items() if rows.any()}
        grid = np.linspace(light.setting.min(), light.setting.max(), 300)
        d, c, power, background, *shift = self.fit.values
        ahead = {"up": sum(shift), "down": -sum(shift), "": 0.0}
        fitted = {way: (grid, background + power * edge_share(grid - ahead[way], c, d)) for way in read}
        return plot_knife_edge(read, fitted, self.centre_mm.n, self.diameter_mm.n, ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair per line of ``str``."""
        shift = "one way only: lag and backlash not seen"
        if self.shift_mm is not None:
            shift = f"{1e3 * self.shift_mm:.2uS} um each way"
        return (
            ("1/e^2 diameter", f"{self.diameter_mm:.2uS} mm"),
            ("90 % to 10 %", f"{self.edge_width_mm:.2uS} mm"),
            ("centre", f"{self.centre_mm:.2uS} mm"),
            ("light", f"{self.power_mw:.2uS} mW above {self.background_mw:.2uS} mW"),
            ("lag or backlash", shift),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"),
        )

    def _title(self) -> str:
        return f"Beam size{self.rows_of_light.of_line}: {len(self.directions)} readings at a knife edge"

    def __str__(self) -> str:
        return rows_text(self._title(), self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html(self._title(), self.rows(), self.fit.failed)
