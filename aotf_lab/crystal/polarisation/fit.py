"""From light behind a turning analyser to its polarisation.

The true angle scatters about the one that was set. On the flanks that counts as scatter of the light; at the two
turning points it lifts the least light and lowers the most: the mean of cos 2a shrinks by exp(-2 u^2). The contrast is
corrected for that, and the size of the correction is a named cause.
"""

from __future__ import annotations

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.extra_terms import terms_check
from aotf_lab.crystal.light_rows import LightRows, LightTable, fit_light, light_rows, through
from aotf_lab.crystal.polarisation.law import analyser_law
from aotf_lab.crystal.polarisation.polarisation import Polarisation
from aotf_lab.crystal.polarisation.unvisited import dark_angle_check, departures
from aotf_lab.errors import FitError, Said
from aotf_lab.estimation import Check, Fit, Parameter, Problem, new_cause
from aotf_lab.estimation.checks import z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["fit_polarisation"]


def fit_polarisation(readings: LightTable, *, line: str = "") -> Polarisation:
    """Fit the law of Malus with a floor and return the ``Polarisation``.

    ``readings`` is a table, or a list of them, with ``analyser_deg`` and ``optical_power_mw``; understood beside them:
    their u (that of the light is estimated from the scatter without it), ``dark_power_mw`` (subtracted; without it the
    meter's zero counts as crossed light), ``incident_power_mw`` (a monitor of the laser, divided out) and ``label``;
    ``line`` picks the rows of one label. Half a turn in steps of 10 to 15 deg is plenty; a whole turn shows
    whether turning the analyser moves the beam. Where the dark angle was not visited the results are widened by what
    departures from the law may do, and the check "dark angle" fails.

    Raises ``ReadingsError`` for fewer than five readings or impossible ones, ``FitError`` for light without a preferred
    direction, and for angles that do not tell it.
    """
    light = light_rows(readings, "analyser_deg", line, 5)
    problem, fit = fit_light(_problem(light), light.u_setting)
    contrast = fit.parameters["contrast"]
    if not contrast.n > z_limit() * contrast.s:
        raise FitError(
            f"{problem.scatter} show no preferred direction", found=Said(f"a contrast of {contrast:.2uS}"),
            allowed=f"a contrast above {z_limit():.2g} of its standard uncertainties",
            cure="the light is unpolarised or circular, or the analyser did not turn in the beam",
        )  # fmt: skip
    more = departures(light, problem, fit)
    axis = through(light.readings.common_errors("analyser_deg"), fit.parameters["axis_deg"] + more["axis_deg"])
    axis = axis - 180.0 * np.ceil((axis.n - 90.0) / 180.0)
    fit = fit.with_checks(*_checks(light, problem, fit))
    crossed = _crossed(light, fit) - 0.5 * more["contrast"]
    return Polarisation(light.line, axis, crossed, fit.parameters["power_mw"] + more["power_mw"], fit, light)


def _problem(light: LightRows) -> Problem:
    """Return the fit, started at the linear least squares of mean, cos 2a and sin 2a."""
    twice = np.radians(2.0 * light.setting)
    columns = np.stack([np.ones_like(twice), np.cos(twice), np.sin(twice)], axis=-1)
    weight = (
        np.ones_like(twice)
        if light.u_power_mw is None
        else 1.0 / np.hypot(light.u_power_mw, 0.01 * np.ptp(light.power_mw))
    )
    mean, c, s = np.linalg.lstsq(columns * weight[:, None], light.power_mw * weight, rcond=1e-9)[0]
    amplitude = float(np.hypot(c, s))
    power = 2.0 * max(float(mean), amplitude, 1e-12)
    axis = 0.5 * float(np.degrees(np.arctan2(s, c))) + 180.0  # away from zero, where it would have no scale
    contrast = max(2.0 * amplitude / power, 1e-6)
    parameters = (Parameter("power_mw", power), Parameter("axis_deg", axis), Parameter("contrast", contrast))
    return Problem(
        analyser_law, parameters, light.setting, light.power_mw, light.u_power_mw, None,
        f"the analyser readings{light.of_line}", light.readings.places,
    )  # fmt: skip


def _crossed(light: LightRows, fit: Fit) -> UFloat:
    """Return the crossed share, less what the scatter of the angle lifts it by, with the error of the dark reading."""
    crossed, power = 0.5 - 0.5 * fit.parameters["contrast"], fit.parameters["power_mw"]
    if light.u_setting is not None:
        u_rad = float(np.radians(np.mean(light.u_setting)))
        lifted = 0.5 * (1.0 - 2.0 * crossed.n) * (np.exp(2.0 * u_rad**2) - 1.0)
        crossed = crossed - lifted + new_cause("scatter of the analyser's angle, second order", lifted)
    if light.u_dark_mw > 0:
        crossed = crossed + new_cause("dark reading", light.u_dark_mw / power.n)
    return crossed


def _checks(light: LightRows, problem: Problem, fit: Fit) -> tuple[Check, ...]:
    turn = np.radians(light.setting)
    power = fit.values[0]
    once = power * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    fourfold = power * np.stack([np.cos(4 * turn), np.sin(4 * turn)], axis=-1)
    return (
        _whole_turn(light.setting, problem, fit, once),
        terms_check(
            "law", problem, fit, fourfold, "a part that repeats every quarter turn",
            "the meter is not linear, or is full at the most light, or the wrong scale of angles was read",
        ),
        dark_angle_check(light, fit),
        _dark(light),
    )  # fmt: skip


def _whole_turn(angles: FloatArray, problem: Problem, fit: Fit, once: FloatArray) -> Check:
    what = "a part that repeats only after a whole turn"
    if np.ptp(angles) < 270.0:
        return Check("half a turn", True, f"{np.ptp(angles):.0f} deg were turned, too little to see {what}")
    cure = "the analyser moves the beam on the meter as it turns, or the laser drifted: use the mean of both halves"
    return terms_check("half a turn", problem, fit, once, what, cure)


def _dark(light: LightRows) -> Check:
    if light.dark_mw is not None:
        return Check("dark reading", True, f"{1e3 * light.dark_mw:.3g} uW were subtracted")
    return Check(
        "dark reading", False,
        "no dark reading: the meter's zero and stray light count as crossed light, so the crossed share is at the most "
        "what is stated; note what the meter shows with the laser covered",
    )  # fmt: skip
