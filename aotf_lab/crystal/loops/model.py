"""From points on a screen to a fit: how far each point stands from a loop, and what may be off besides the velocity.

A point (x, y) has no setting that is free of error, so the fit is of an implicit law g(x, y) = 0, with the distance to
first order, g / |grad g| (Sampson, Comput. Graph. Image Process. 18, 97 (1982), from memory), the gradient taken anew
at every step and weighted by u_x and u_y. It is exact where the loop is straight over the width of u.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.loops.expected import Loop
from aotf_lab.crystal.loops.seen import SeenPoints
from aotf_lab.estimation import Parameter, Problem
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.elastic import ElasticConstants, elastic_constants
from aotf_lab.physics.phase_matching import Polarisation
from aotf_lab.physics.slowness import MODES
from aotf_lab.physics.slowness_scattering import Scattering

__all__ = ["VELOCITY", "LoopModel"]

VELOCITY = "v110_m_s"
_STEP_MM = 1e-4
_VELOCITY_RANGE_M_S = (200.0, 1800.0)
_REACH = 8.0
"""Standard uncertainties beyond which no setting is sought."""


@dataclass(frozen=True)
class LoopModel:
    """The loop of acoustic wave ``mode`` and light ``scattered`` under settings that are known more or less well.

    ``known`` are the settings by name, a ``UFloat`` where it is uncertain: v110_m_s, v001_m_s, stiffness (a factor
    on the other constants), frequency_mhz, incidence_deg, distance_mm, exit_tilt_deg, spot_x_mm, spot_y_mm, turn_deg
    (of the screen's axes).
    """

    known: dict[str, UFloat | float]
    wavelength_nm: float
    incident: Polarisation
    mode: str
    scattered: Polarisation
    free_velocity: bool
    material: str = "TeO2"

    def nominal(self) -> dict[str, float]:
        """Return every setting's nominal value."""
        return {name: float(getattr(value, "n", value)) for name, value in self.known.items()}

    def uncertain(self) -> tuple[str, ...]:
        """Return the names of the settings that the fit may move."""
        names = tuple(name for name, value in self.known.items() if getattr(value, "s", 0.0) > 0 and name != VELOCITY)
        return (VELOCITY, *names) if self.free_velocity or getattr(self.known[VELOCITY], "s", 0.0) > 0 else names

    def at(self, values: FloatArray) -> dict[str, float]:
        """Return every setting, those of ``uncertain`` as in ``values``."""
        return self.nominal() | dict(zip(self.uncertain(), (float(v) for v in values), strict=True))

    def scattering(self, setting: dict[str, float]) -> Scattering:
        """Return the geometry and crystal of a setting."""
        return Scattering(
            _constants(self.material, setting), setting["frequency_mhz"], self.wavelength_nm, setting["incidence_deg"],
            setting["distance_mm"], self.incident, setting["exit_tilt_deg"], self.material,
        )  # fmt: skip

    def distance(self, points: SeenPoints, setting: dict[str, float]) -> tuple[FloatArray, FloatArray]:
        """Return how far (mm) each point stands outside of the loop, and the u (mm) of that."""
        scattering, mode = self.scattering(setting), MODES.index(self.mode)
        turn = np.radians(setting["turn_deg"])
        x, y = points.x_mm - setting["spot_x_mm"], points.y_mm - setting["spot_y_mm"]
        x, y = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
        shifts = _STEP_MM * np.array([[0, 1, -1, 0, 0], [0, 0, 0, 1, -1]])
        g = scattering.off_loop(x + shifts[0][:, None], y + shifts[1][:, None], mode, self.scattered)
        by_x, by_y = (g[1] - g[2]) / (2 * _STEP_MM), (g[3] - g[4]) / (2 * _STEP_MM)
        size = np.hypot(by_x, by_y)
        # the steepest way on the screen as marked, where u_x and u_y were stated
        way_x, way_y = by_x * np.cos(turn) - by_y * np.sin(turn), by_x * np.sin(turn) + by_y * np.cos(turn)
        return g[0] / size, np.hypot(way_x * points.u_x_mm, way_y * points.u_y_mm) / size

    def problem(self, points: SeenPoints) -> Problem:
        """Return the fit: distance from the spot, against the same less the distance from the loop."""
        radius, unit = np.hypot(points.x_mm, points.y_mm), np.hypot(points.u_x_mm, points.u_y_mm) / np.sqrt(2.0)

        def model(_: FloatArray, *values: float) -> FloatArray:
            off, u = self.distance(points, self.at(np.asarray(values)))
            return np.asarray(radius - unit * off / u)

        return Problem(
            model, self._parameters(), np.arctan2(points.y_mm, points.x_mm), radius, unit if points.u_known else None,
            None, "the points seen", points.places,
        )  # fmt: skip

    def misfit_by_a_straight_line(self, points: SeenPoints) -> float:
        """Return the least chi-square, pulls of the priors included, if distances were linear in the settings."""
        problem = self.problem(points)
        start = np.array([p.start for p in problem.parameters])
        residual = problem.residual(start)
        if len(start) == 0:
            return float(residual @ residual)
        slopes = problem.jacobian(problem.residual, start)
        left = residual - slopes @ np.linalg.lstsq(slopes, residual, rcond=None)[0]
        return float(left @ left)

    def _parameters(self) -> tuple[Parameter, ...]:
        nominal, parameters = self.nominal(), []
        for name in self.uncertain():
            prior = self.known[name]
            if name == VELOCITY and self.free_velocity:
                parameters.append(Parameter(name, nominal[name], *_VELOCITY_RANGE_M_S))
            else:
                reach = _REACH * float(getattr(prior, "s", 0.0))
                parameters.append(Parameter(name, nominal[name], nominal[name] - reach, nominal[name] + reach, prior))
        return tuple(parameters)

    def for_loop(self, mode: str, scattered: Polarisation) -> LoopModel:
        """Return the model of another loop; only the slow shear wave's tells the velocity."""
        return replace(self, mode=mode, scattered=scattered, free_velocity=mode == MODES[0])

    def on_screen(self, loop: Loop, setting: dict[str, float]) -> tuple[FloatArray, FloatArray]:
        """Return ``loop`` of that setting in the screen's axes as marked."""
        turn = np.radians(setting["turn_deg"])
        x = loop.x_mm * np.cos(turn) - loop.y_mm * np.sin(turn) + setting["spot_x_mm"]
        y = loop.x_mm * np.sin(turn) + loop.y_mm * np.cos(turn) + setting["spot_y_mm"]
        return x, y


def _constants(material: str, setting: dict[str, float]) -> ElasticConstants:
    listed, factor = elastic_constants(material), setting["stiffness"]
    gpa = 1e-9 * listed.density_kg_m3
    both = factor * (listed.c11_gpa + listed.c12_gpa) / 2
    half = gpa * setting[VELOCITY] ** 2
    return ElasticConstants(
        both + half, both - half, factor * listed.c13_gpa, factor * listed.c33_gpa, gpa * setting["v001_m_s"] ** 2,
        factor * listed.c66_gpa, listed.density_kg_m3,
    )  # fmt: skip
