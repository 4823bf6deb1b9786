"""What is known of the dark angle, that of least light, where the analyser was never turned to it.

There the crossed light rests on the law alone, and small departures from the law count in full: a meter that is not
linear and a beam that moves as the analyser turns. Both vanish in the dark, so they only matter where it was not seen.
"""

from __future__ import annotations

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.light_rows import LightRows
from aotf_lab.estimation import Check, Fit, Problem, new_cause
from aotf_lab.estimation.problem import FloatArray, differences

__all__ = ["DARK_ANGLE", "dark_angle_check", "dark_gap_deg", "departures"]

DARK_ANGLE = "dark angle"
_FARTHEST_DEG = 15.0
"""The farthest that a reading may be from the dark angle: half of the widest usual step."""

_DEPARTURE = 0.01
"""Standard uncertainty of a meter's linearity at the most light, and of the part of the light that is lost or gained as
the beam moves once around with the analyser (common practice, no source)."""


def dark_gap_deg(light: LightRows, fit: Fit) -> float:
    """Return how far (deg) the reading nearest to the dark angle is from it; the angle comes again every half turn."""
    away = light.setting - fit.parameters["axis_deg"].n
    return float(np.min(np.abs((away + 180.0) % 180.0 - 90.0)))


def dark_angle_check(light: LightRows, fit: Fit) -> Check:
    """Return the check that the analyser was turned to the dark angle."""
    gap, dark = dark_gap_deg(light, fit), float(fit.parameters["axis_deg"].n + 90.0) % 180.0
    detail = f"the nearest reading is {gap:.2g} deg from the dark angle of {dark:.1f} deg, limit {_FARTHEST_DEG:g} deg"
    if gap <= _FARTHEST_DEG:
        return Check(DARK_ANGLE, True, detail)
    return Check(
        DARK_ANGLE, False,
        f"{detail}: crossed share and extinction rest on the law of Malus alone, taken to hold to "
        f"{100 * _DEPARTURE:g} %; turn the analyser through the dark",
    )  # fmt: skip


def departures(light: LightRows, problem: Problem, fit: Fit) -> dict[str, UFloat | float]:
    """Return what departures from the law may add to each parameter, by name; 0 where the dark angle was visited.

    Each departure is taken through the same linear least squares as the readings.
    """
    if dark_angle_check(light, fit).passed:
        return dict.fromkeys(fit.parameters, 0.0)
    values = fit.values
    spread = problem.spread(values) if fit.noise is None else np.full_like(problem.y, fit.noise)
    slopes = differences(
        lambda v: np.asarray(problem.model(problem.x, *v)), values, problem.steps(values), problem.low, problem.high
    )
    law, turn = np.asarray(problem.model(problem.x, *values)), np.radians(light.setting)
    shapes = {
        "linearity of the power meter": law**2 / max(float(np.max(law)), 1e-300),
        "beam moved by the analyser, cosine": law * np.cos(turn),
        "beam moved by the analyser, sine": law * np.sin(turn),
    }
    moved = {name: _DEPARTURE * _through(slopes, spread, shape) for name, shape in shapes.items()}
    causes = {name: new_cause(name, 1.0) for name in shapes}
    return {
        parameter: sum(float(moved[name][k]) * cause for name, cause in causes.items())
        for k, parameter in enumerate(fit.parameters)
    }


def _through(slopes: FloatArray, spread: FloatArray, shape: FloatArray) -> FloatArray:
    """Return by how much (p,) the fit follows a small ``shape`` (n,) in the readings."""
    rows = slopes / spread[:, None]
    scale = np.linalg.norm(rows, axis=0)
    return np.asarray(np.linalg.lstsq(rows / scale, shape / spread, rcond=1e-12)[0] / scale)
