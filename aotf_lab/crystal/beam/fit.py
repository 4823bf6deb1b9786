"""From light past a knife edge to the size of the beam.

Light past the edge: background + power (1/2) erfc(2 sqrt 2 (x - centre) / D) (``physics.beams``). What a trailing meter
and the stage's backlash do to it stands in ``lag``.
"""

from __future__ import annotations

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.beam.beam_size import BeamSize
from aotf_lab.crystal.beam.lag import directions, known_lag_mm, lag_check, step_of, without_lag
from aotf_lab.crystal.extra_terms import terms_check
from aotf_lab.crystal.light_rows import LightRows, LightTable, fit_light, light_rows, through
from aotf_lab.errors import FitError, ReadingsError, Said
from aotf_lab.estimation import Check, Fit, Parameter, Problem, new_cause
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.physics.beams import edge_share

__all__ = ["fit_beam_size"]

_LEAST_SIGNAL = 3.0
_FLAT = 0.02
"""How near to dark and to full the outermost readings should be, as a share of the light."""


def fit_beam_size(readings: LightTable, *, line: str = "", time_constant_s: UFloat | float | None = None) -> BeamSize:
    """Fit the light past a knife edge and return the ``BeamSize``.

    ``readings`` is a table, or a list of them (the two ways), in order of time, with ``position_mm`` and
    ``optical_power_mw``; understood beside them: their u (that of the light is estimated from the scatter without
    it), ``direction`` ("up", "down"; else the order of rows tells), ``incident_power_mw`` (a monitor of the laser,
    divided out), ``dark_power_mw`` and ``label``; ``line`` picks the rows of one label.
    The edge may cover the beam or free it. ``time_constant_s`` is the power meter's: with logged times (``time_s``) it
    makes up for readings that went one way only (a plain number is taken to 10 %).

    Raises ``ReadingsError`` for fewer than five readings, readings all at one position, or impossible ones;
    ``FitError`` when the edge did not cross the beam.
    """
    light = light_rows(readings, "position_mm", line, 5)
    direction, step_mm = directions(light), step_of(light)
    known = known_lag_mm(light, direction, time_constant_s)
    problem, fit = _fitted(light, _problem(light, direction))
    p = fit.parameters
    scale = light.readings.common_errors("position_mm")
    shift = p.get("shift_mm")
    diameter = without_lag(_without_scatter(p["diameter_mm"], light.u_setting), shift, known, step_mm)
    centre = p["centre_mm"] - np.sign(light.setting[-1] - light.setting[0]) * (0.0 if known is None else known)
    covering = p["power_mw"].n > 0
    full = p["power_mw"] if covering else -p["power_mw"]
    background = p["background_mw"] if covering else p["background_mw"] + p["power_mw"]
    fit = fit.with_checks(
        _shape_check(problem, fit, direction),
        lag_check(shift, known, step_mm, float(fit.values[0])),
        _ends_check(problem, fit),
    )
    return BeamSize(
        light.line, through(scale, diameter, offsets=False), through(scale, centre),
        full, background, shift, fit, light, direction, np.asarray(problem.model(problem.x, *fit.values)),
    )  # fmt: skip


def _fitted(light: LightRows, problem: Problem) -> tuple[Problem, Fit]:
    """Return the fit as ``fit_light`` does; ``FitError`` in plain words where the readings do not cross the edge."""
    cause: FitError | None = None
    try:
        problem, fit = fit_light(problem, light.u_setting)
        change = fit.parameters["power_mw"]
        if abs(change.n) > _LEAST_SIGNAL * change.s:
            return problem, fit
        why = f"u of its whole light is above 1/{_LEAST_SIGNAL:g} of it"
    except FitError as error:
        cause, why = error, "nothing tells where it is and how wide"
    x, y = light.setting, light.power_mw
    raise FitError(
        f"{problem.scatter} do not cross the beam: {why}",
        found=Said(f"{y.min():.3g} to {y.max():.3g} mW with the edge at {x.min():.4g} to {x.max():.4g} mm"),
        allowed="light that goes from full to dark",
        cure="move the edge through the whole beam, and check that the meter sees the light past it",
    ) from cause  # fmt: skip


def _problem(light: LightRows, direction: FloatArray) -> Problem:
    x, y = light.setting, light.power_mw
    span = float(np.ptp(x))
    if not span > 0:
        raise ReadingsError(
            "readings all at one position of the edge", where=light.readings.place(0), found=Said(f"{x[0]:.6g} mm"),
            allowed="an edge moved through the whole beam", cure="map the column of the position, or measure anew",
        )  # fmt: skip
    both = bool(np.any(direction != 0))
    order = np.argsort(x, kind="stable")
    ends = max(len(x) // 6, 1)
    low, high = float(y[order[:ends]].mean()), float(y[order[-ends:]].mean())
    half = 0.5 * (low + high)
    beyond = (y[order] > half) == (low > half)
    centre = float(x[order][min(int(np.sum(beyond)), len(x) - 1)])
    share = np.abs((y[order] - high) / (low - high)) if low != high else np.full_like(x, 0.5)
    steep = x[order][(share > 0.16) & (share < 0.84)]
    width = 2.0 * float(np.ptp(steep)) if len(steep) > 1 and np.ptp(steep) > 0 else 2.0 * span / len(x)
    parameters = [
        Parameter("diameter_mm", max(width, 1e-3 * span), 1e-4 * span, 20 * span),
        Parameter("centre_mm", centre if abs(centre) > 1e-3 * span else 1e-3 * span),
        Parameter("power_mw", (low - high) or 1e-3),
        Parameter("background_mw", high if abs(high) > 1e-3 * abs(low) else 1e-3 * abs(low)),
    ] + ([Parameter("shift_mm", 1e-3 * span)] if both else [])

    def model(position: FloatArray, d: float, c: float, power: float, background: float, s: float = 0.0) -> FloatArray:
        moved = position - s * direction
        return np.asarray(background + power * edge_share(moved, c, d), dtype=float)

    return Problem(
        model, tuple(parameters), x, y, light.u_power_mw, None, f"the knife-edge readings{light.of_line}",
        light.readings.places,
    )  # fmt: skip


def _without_scatter(diameter: UFloat, u_position_mm: FloatArray | None) -> UFloat:
    """Return the diameter without what the scatter of the positions widens the mean curve by: D^2 + 16 u^2."""
    if u_position_mm is None:
        return diameter
    widened = 8.0 * float(np.mean(u_position_mm**2)) / diameter.n
    return diameter - widened + new_cause("scatter of the stage, second order", widened)


def _shape_check(problem: Problem, fit: Fit, direction: FloatArray) -> Check:
    """Return the check that the beam is Gaussian: the next two terms of its profile, skew and flat, are in the scatter.

    The edge's share with Gauss-Hermite terms of third and fourth order (Edgeworth): the normal density times He2, He3.
    """
    d, c, power, _, *shift = fit.values
    t = 4.0 * (problem.x - sum(shift) * direction - c) / d
    bell = power * np.exp(-0.5 * t**2) / (2.0 * np.pi) ** 0.5
    terms = np.stack([bell * (t**2 - 1.0), bell * (t**3 - 3.0 * t)], axis=-1)
    return terms_check(
        "Gaussian beam", problem, fit, terms, "a lean or a flat top of the beam",
        "the beam is not Gaussian, or it is clipped, or the meter trails: the diameter is that of the nearest "
        "Gaussian; look at the beam on a card, and wait longer at each step",
    )  # fmt: skip


def _ends_check(problem: Problem, fit: Fit) -> Check:
    """Return the check that the readings reach from full light to dark."""
    d, c = fit.values[:2]
    ends = edge_share(np.array([problem.x.min(), problem.x.max()]), c, d)
    short = max(1.0 - float(ends[0]), float(ends[1]))
    detail = f"the outermost readings come within {100 * short:.2g} % of full light and dark, limit {100 * _FLAT:g} %"
    passed = short <= _FLAT
    cure = "move the edge further to both sides: else the size rests on the law of the edge alone"
    return Check("both ends", passed, detail if passed else f"{detail}; {cure}")
