"""From depth of modulation against frequency to the beam's transit time, and what else limits it.

depth(f) = depth at rest * exp(-(pi f D/v)^2 / 8) / sqrt(1 + (f/B)^2): beam and single pole (``physics.edges``).
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.errors import AotfLabError, ReadingsError, Said
from aotf_lab.estimation import Check, Parameter, Problem, fit_problem
from aotf_lab.estimation.checks import z_check
from aotf_lab.physics.edges import (
    HALF_DEPTH_PER_TRANSIT,
    beam_depth,
    pole_depth,
    pole_of_bandwidth_us,
    pole_of_rise_us,
)
from aotf_lab.reading.readings import Readings, as_readings
from aotf_lab.timing.depth.depth import ModulationDepth
from aotf_lab.timing.numbers import Number, nominal, require_above_zero

__all__ = ["fit_modulation_depth"]

FloatArray = NDArray[np.float64]
_LEAST_READINGS = 4
_ROOM = 0.02
"""What noise, or a dark reading that was subtracted, may add to a full depth (common practice, no source)."""


def fit_modulation_depth(
    readings: Readings | pd.DataFrame,
    *,
    port_bandwidth_khz: Number | None = None,
    fit_port: bool = False,
    detector_rise_us: Number | None = None,
    transit_us: Number | None = None,
) -> ModulationDepth:
    """Fit the depth of modulation against frequency and return the ``ModulationDepth``.

    ``readings`` is a table with ``modulation_khz`` and ``depth``; without ``u_depth`` the scatter tells. The depth at
    rest is fitted, so a part of the light that is never modulated does no harm. ``port_bandwidth_khz`` is that of a
    single pole besides the beam (oscillator's port); with ``fit_port`` the readings find it, beginning from the value
    given. ``detector_rise_us`` (10 to 90 %, a pole as well) is taken off each reading first, and its error, one for
    all, stays in the result: that is the light's. ``transit_us`` is D/v from an edge: the two are compared.
    Modulate by a small drive: where it swings over the whole of sin^2, harmonics add to the depth, more so at low
    frequencies.

    Raises ``ReadingsError`` for fewer than four readings, ones not above 0 kHz or a depth above 1, ``FitError`` where
    they do not tell the parameters apart, ``AotfLabError`` for a stated number not above zero.
    """
    require_above_zero("a modulation", port_bandwidth_khz=port_bandwidth_khz, transit_us=transit_us,
                        detector_rise_us=detector_rise_us)  # fmt: skip
    table = as_readings(readings)
    table.require("modulation_khz", "depth")
    f, depth = (table.table[c].to_numpy(dtype=float) for c in ("modulation_khz", "depth"))
    above = bool(np.all(f > 0))
    if len(f) < _LEAST_READINGS or not above:
        raise ReadingsError(
            "readings of the depth of modulation", where=table.place(0),
            found=len(f) if above else Said(f"{f.min():.6g} kHz"),
            allowed=f"at least {_LEAST_READINGS}, all above 0 kHz",
            cure="measure from a tenth of half depth's frequency up to twice that of half depth",
        )  # fmt: skip
    u = table.table["u_depth"].to_numpy(dtype=float) if "u_depth" in table.table.columns else None
    _require_depths(table, depth, u)
    if detector_rise_us is not None:
        seen = _seen(f, nominal(detector_rise_us))
        depth, u = depth / seen, None if u is None else u / seen
    problem = _problem(table, f, depth, u, port_bandwidth_khz, fit_port, detector_rise_us)
    fit = fit_problem(problem)
    p = fit.parameters
    port: Number | None = p.get("port_khz", port_bandwidth_khz)
    found = ModulationDepth(p["depth_at_rest"], p["transit_us"], port, fit, f, depth, u)
    checks = [_law_check(problem, fit.values), *_reach_check(f, found)]
    if transit_us is not None:
        gap = p["transit_us"] - transit_us
        checks.append(
            z_check("edge and depth agree", gap.n, gap.s, "D/v by the depth less that by the edge", "us",
                    "a pole is in one of the two only: state the bandwidth of port and detector at both")
        )  # fmt: skip
    return ModulationDepth(found.depth_at_rest, found.transit_us, port, fit.with_checks(*checks), f, depth, u)


def _require_depths(table: Readings, depth: FloatArray, u: FloatArray | None) -> None:
    """Raise ``ReadingsError`` for a depth above 1: most less least over their sum cannot be."""
    over = depth - (_ROOM if u is None else np.fmax(4.0 * np.nan_to_num(u), _ROOM)) > 1.0
    if over.any():
        row = int(np.argmax(over))
        raise ReadingsError(
            "a depth of modulation above 1", where=table.place(row), found=float(depth[row]),
            allowed="0 to 1: (most - least) / (most + least)",
            cure="look whether it is in percent, or a swing in volts: state its unit in the heading or a layout",
        )  # fmt: skip


def _seen(f: FloatArray, rise_us: float) -> FloatArray:
    """Return the share (n,) of the depth at ``f`` (kHz) that a detector of this rise (us) shows."""
    return np.asarray(pole_depth(f, pole_of_bandwidth_us(1.0) / pole_of_rise_us(rise_us)))


def _problem(
    table: Readings, f: FloatArray, depth: FloatArray, u: FloatArray | None, port: Number | None, fit_port: bool,
    rise: Number | None,
) -> Problem:  # fmt: skip
    rest = float(np.max(depth))
    if not rest > 0:
        raise AotfLabError("depth of modulation nowhere above zero", found=rest, allowed="above 0",
                           cure="map the column of the depth, or subtract the dark reading")  # fmt: skip
    order = np.argsort(f)
    below = np.flatnonzero(depth[order] < 0.6 * rest)
    half = float(f[order][below[0]]) if len(below) else float(f.max())
    transit = 1e3 * HALF_DEPTH_PER_TRANSIT / half
    parameters = [
        Parameter("depth_at_rest", rest, 0.0, 10.0 * rest),
        Parameter("transit_us", transit, 1e-3 * transit, 20 * transit),
    ]
    known = None if port is None else nominal(port)
    if fit_port:
        prior = port if isinstance(port, UFloat) and port.s > 0 else None
        start = known or half
        parameters.append(Parameter("port_khz", start, 1e-2 * start, 1e3 * start, prior))
    elif isinstance(port, UFloat) and port.s > 0:
        parameters.append(Parameter("port_khz", port.n, 1e-2 * port.n, 1e2 * port.n, port))
    poles = len(parameters)
    if isinstance(rise, UFloat) and rise.s > 0:
        parameters.append(Parameter("detector_rise_us", rise.n, 1e-2 * rise.n, 1e2 * rise.n, rise))

    def model(x: FloatArray, at_rest: float, d_over_v: float, *rest: float) -> FloatArray:
        pole = rest[0] if poles > 2 else known
        course = at_rest * beam_depth(x, d_over_v)
        course = course if pole is None else course * pole_depth(x, pole)
        left = 1.0 if len(parameters) == poles else _seen(x, rest[poles - 2]) / _seen(x, nominal(rise))
        return np.asarray(course * left, dtype=float)

    return Problem(model, tuple(parameters), f, depth, u, None, "the depths of modulation", table.places)


def _law_check(problem: Problem, values: FloatArray) -> Check:
    """Return the check of the Gaussian law: the power of f in its exponent, fitted, against 2."""
    name = "Gaussian law"
    cure = ("another power than 2 says that the beam is not Gaussian, that a pole (port, detector) is not taken off, "
            "or that noise adds to small depths")  # fmt: skip
    if len(problem.y) < len(values) + 2:
        return Check(name, True, f"{len(problem.y)} readings are too few to test the law")
    scale = 1e3 * HALF_DEPTH_PER_TRANSIT / values[1]

    def model(x: FloatArray, *v: float) -> FloatArray:
        bent = scale * (x / scale) ** (0.5 * v[-1])
        plain = problem.model(x, *v[:-1])
        return np.asarray(plain * beam_depth(bent, v[1]) / beam_depth(x, v[1]))

    started = [Parameter(p.name, v, p.low, p.high, p.prior) for p, v in zip(problem.parameters, values, strict=True)]
    freer = Problem(model, (*started, Parameter("power", 2.0, 0.3, 8.0)), problem.x, problem.y, problem.u_y, None,
                    problem.scatter, problem.places)  # fmt: skip
    power = fit_problem(freer, thorough=False).parameters["power"]
    return z_check(name, power.n - 2.0, power.s, "power of the frequency less 2", "", cure)


def _reach_check(f: FloatArray, found: ModulationDepth) -> list[Check]:
    half, last = found.half_khz.n, float(f.max())
    detail = f"half depth at {half:.4g} kHz, readings up to {last:.4g} kHz"
    cure = "it rests on the law: measure beyond it"
    return [Check("reaches half depth", half <= last, detail if half <= last else f"{detail}; {cure}")]
