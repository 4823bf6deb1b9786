"""The result of ``fit_loops``: the loop that explains the points, and the velocity that it gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from uncertainties import UFloat, umath

from aotf_lab.crystal.loops.expected import loops_of
from aotf_lab.crystal.loops.model import VELOCITY, LoopModel
from aotf_lab.crystal.loops.seen import SeenPoints
from aotf_lab.estimation import Fit
from aotf_lab.estimation.named_rows import rows_html, rows_text
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.elastic import V001_M_S
from aotf_lab.physics.phase_matching import Polarisation
from aotf_lab.reading.readings import Readings

__all__ = ["LoopFit", "Rival"]


@dataclass(frozen=True)
class Rival:
    """Another loop: by how much its chi-square exceeds the best, and the velocity (m/s) that it would give, if any."""

    mode: str
    scattered: Polarisation
    gap: float
    v110_m_s: UFloat | None

    @property
    def name(self) -> str:
        """Acoustic wave and polarisation of the light."""
        return f"{self.mode}, {self.scattered}"


@dataclass(frozen=True, eq=False)
class LoopFit:
    """The loop of the slow shear wave that fits the points seen; made by ``fit_loops`` only.

    ``stated_m_s`` is the velocity along [110] that the fitted one is compared with (check "velocity"); ``rivals``
    are the other loops, the nearest first.
    """

    model: LoopModel = field(repr=False)
    points: SeenPoints = field(repr=False)
    readings: Readings = field(repr=False)
    fit: Fit = field(repr=False)
    rivals: tuple[Rival, ...]
    stated_m_s: UFloat

    @property
    def v110_m_s(self) -> UFloat:
        """Velocity (m/s) of the slow shear wave along [110]."""
        return self.fit.parameters[VELOCITY]

    def velocity_along(self, acoustic_angle_deg: float) -> UFloat:
        """Return its velocity (m/s) at that angle from [110] in the plane of the cut."""
        turn = np.radians(acoustic_angle_deg)
        v001 = self.fit.parameters.get("v001_m_s", V001_M_S)
        return umath.sqrt((self.v110_m_s * np.cos(turn)) ** 2 + (v001 * np.sin(turn)) ** 2)

    @property
    def name(self) -> str:
        """The loop: acoustic wave and polarisation of the light."""
        return f"{self.model.mode}, {self.model.scattered}"

    @cached_property
    def setting(self) -> dict[str, float]:
        """Every setting as fitted."""
        return self.model.at(self.fit.values)

    @cached_property
    def off_mm(self) -> FloatArray:
        """How far (mm) each point stands outside of the loop (n,)."""
        return self.model.distance(self.points, self.setting)[0]

    def plot(self, ax: Any = None) -> Any:
        """Draw the points and all loops as fitted, both axes to one scale; return the Axes."""
        from aotf_lab.drawing.loops import plot_loops

        curves = [
            (loop.name, *self.model.on_screen(loop, self.setting))
            for loop in loops_of(self.model.scattering(self.setting))
        ]
        points = self.points
        u = (points.u_x_mm, points.u_y_mm) if points.u_known else (np.full_like(points.x_mm, np.nan),) * 2
        return plot_loops(curves, None, (points.x_mm, points.y_mm, *u), ax=ax)

    def rows(self) -> tuple[tuple[str, str], ...]:
        """Return (name, value with uncertainty and unit), one pair for each line of ``str``."""
        rms = float(np.sqrt(np.mean(self.off_mm**2)))
        rows = [
            ("explained by", self.name),
            ("slow shear along [110]", f"{self.v110_m_s:.2uS} m/s"),
            ("stated", f"{self.stated_m_s:.2uS} m/s"),
            ("points", f"{len(self.off_mm)}, {rms:.2g} mm rms off the loop"),
            ("chi2/dof", f"{self.fit.chi2:.1f}/{self.fit.dof:.3g}"),
        ]
        if self.rivals:
            rows.insert(1, ("next best", f"{self.rivals[0].name}, chi2 higher by {self.rivals[0].gap:.1f}"))
        return tuple(rows)

    def __str__(self) -> str:
        return rows_text("Points seen on a loop", self.rows(), self.fit.failed)

    def _repr_html_(self) -> str:
        return rows_html("Points seen on a loop", self.rows(), self.fit.failed)
