"""Light against the carrier's frequency, the cell at one angle: the law, its fit, and what follows from it.

eta = peak (1 + tilt (f - f0) / band) h(D), D = c f (f - f0): coupled waves h, out of tune as the sound's wave fronts
turn (``physics.bragg``); ``tilt`` is the transducer's own slope over the band, of which only a weak prior is known.
Best carrier and bandwidth are read off the fitted curve, so they count whatever makes it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from uncertainties import UFloat, nominal_value

from aotf_lab.crystal.modulator.breadth import require_broad
from aotf_lab.crystal.scan.known import assumed_lag, stated_lag
from aotf_lab.crystal.scan.table import ScanTable, scan_table
from aotf_lab.crystal.tuning.common import true_value
from aotf_lab.errors import FitError, ReadingsError, Said
from aotf_lab.estimation import Check, Fit, Parameter, Problem, fit_problem, new_cause
from aotf_lab.estimation.problem import FloatArray, differences
from aotf_lab.physics.coupled_waves import diffraction_efficiency, passband_fwhm, peak_efficiency
from aotf_lab.reading.readings import Readings

__all__ = ["CarrierResponse", "fit_response"]

WEAK_TILT = 0.15
"""Weak prior on the transducer's slope over the band, 0 +- this (common practice, no source)."""

UNKNOWN_FLOOR = 0.02
UNKNOWN_DRIVE = (0.5, 0.4)
_MOST_DRIVE = 2.4
_GRID = 4001


@dataclass(frozen=True)
class CarrierResponse:
    """A fitted response, made by ``fit_response``. All numbers share the causes of error of one ``fit``.

    ``carrier_mhz``: the carrier of most light (true MHz); ``bandwidth_mhz``: the full width at half of that light;
    ``peak_power_mw``: that light above the floor; ``drive_ratio``: RF power over P_sat.
    """

    carrier_mhz: UFloat
    bandwidth_mhz: UFloat
    peak_power_mw: UFloat
    drive_ratio: UFloat | float
    fit: Fit = field(repr=False)
    table: ScanTable = field(repr=False)
    problem: Problem = field(repr=False)

    @property
    def range_mhz(self) -> tuple[float, float]:
        """The carriers that were measured (indicated MHz)."""
        f = self.table.frequency_mhz
        return float(f.min()), float(f.max())

    def power_mw(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the plain light (n,) in mW that a settled meter shows at carriers (n,) in MHz, floor included."""
        return _light(frequency_mhz, self.fit.values) + float(self.fit.values[3])


def _light(f: FloatArray, values: FloatArray | tuple[float, ...]) -> FloatArray:
    """Return the light (n,) above the floor; ``values`` begin with angle's carrier, band, peak, floor, tilt, drive."""
    centre, band, peak, _, tilt, drive = (float(v) for v in values[:6])
    drive = min(max(drive, 1e-6), _MOST_DRIVE)
    d = np.pi * _width(drive) * f * (f - centre) / (centre * band)
    shape = diffraction_efficiency(d, drive) / float(peak_efficiency(drive))
    return np.asarray(peak * (1.0 + tilt * (f - centre) / band) * shape)


@lru_cache(maxsize=64)
def _width(drive: float) -> float:
    """Return the width at one drive; a fit asks for the same one again with each step of another parameter."""
    return float(passband_fwhm(drive))


def _read_off(f: FloatArray, values: FloatArray) -> FloatArray:
    """Return the frequency of most light, the width at half of it, that light, and where the lower half height is.

    ``f`` is a fine rising grid.
    """
    light = _light(f, values)
    top = min(max(int(np.argmax(light)), 1), len(f) - 2)
    (left, middle, right), step = light[top - 1 : top + 2], f[1] - f[0]
    bend = left - 2 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    most = middle - 0.125 * (left - right) ** 2 / bend if bend < 0 else middle
    below = np.flatnonzero(light[:top] < 0.5 * most)
    above = np.flatnonzero(light[top:] < 0.5 * most)
    if not (below.size and above.size):
        return np.array([f[top] + shift * step, np.nan, most, np.nan])
    a, b = int(below[-1]), top + int(above[0])
    low = np.interp(0.5 * most, light[a : a + 2], f[a : a + 2])
    high = np.interp(-0.5 * most, -light[b - 1 : b + 1], f[b - 1 : b + 1])
    return np.array([f[top] + shift * step, high - low, most, low])


def fit_response(
    readings: Any, *, drive_ratio: UFloat | float | None = None, time_constant_s: UFloat | float | None = None,
    line: str = "",
) -> CarrierResponse:  # fmt: skip
    """Fit light against the carrier's frequency and return the ``CarrierResponse``.

    ``readings`` as for ``fit_scan``; ``dark_power_mw`` is the floor where it was read. ``drive_ratio`` is RF power over
    that of full diffraction, if known. Raises ``ReadingsError`` for a response whose half heights were not reached,
    which cannot be read or is as narrow as a filter's; ``FitError`` when no fit is found.
    """
    table = scan_table(readings)
    f, y = table.frequency_mhz, table.power_mw / table.light
    require_broad(f, y, table.places[0])
    dark = _dark(table, float(np.ptp(y)))
    parameters = _parameters(table, y, dark, drive_ratio, time_constant_s)
    late = table.direction if len(parameters) > 6 else None
    exact_drive = None if drive_ratio is None or isinstance(drive_ratio, UFloat) else float(drive_ratio)

    def model(x: FloatArray, *values: float) -> FloatArray:
        known = values if exact_drive is None else (*values[:5], exact_drive, *values[5:])
        shifted = x if late is None else x - late * known[6]
        return _light(shifted, known) + known[3]

    if exact_drive is not None:
        parameters = (*parameters[:5], *parameters[6:])
    u = None if table.u_power_mw is None else table.u_power_mw / table.light
    what = f"the response of line {line}" if line else "the response"
    problem = Problem(model, parameters, f, y, u, table.u_frequency_mhz, what, table.places)
    fit = fit_problem(problem)
    return _described(table, problem, fit, exact_drive)


def _dark(table: ScanTable, height: float) -> UFloat:
    """Return the floor as the dark readings show it, or as nothing but its usual size is known."""
    frame = table.readings.table
    if "dark_power_mw" not in frame.columns:
        return new_cause("floor of the response, unknown", UNKNOWN_FLOOR * height)
    dark = frame["dark_power_mw"].to_numpy(dtype=float)
    u = frame["u_dark_power_mw"].to_numpy(dtype=float) if "u_dark_power_mw" in frame.columns else np.array([np.nan])
    own = float(np.nanmean(u)) if np.isfinite(u).any() else 1e-3 * height
    return new_cause("dark reading", own, float(np.mean(dark)))


def _parameters(
    table: ScanTable, y: FloatArray, dark: UFloat, drive: UFloat | float | None, seconds: UFloat | float | None
) -> tuple[Parameter, ...]:
    f, net = table.frequency_mhz, y - dark.n
    order = np.argsort(f, kind="stable")
    top = int(np.argmax(net))
    high = f[net > 0.5 * net[top]]
    span = float(np.ptp(f))
    weak = new_cause("drive ratio, unknown", UNKNOWN_DRIVE[1], UNKNOWN_DRIVE[0])
    prior = drive if isinstance(drive, UFloat) else weak
    lag = _lag(table, seconds)
    made = [
        Parameter("angle_mhz", float(np.mean(high)), float(f[order][0]), float(f[order][-1])),
        Parameter("band_mhz", max(float(np.ptp(high)), 2 * table.step_mhz), 0.5 * table.step_mhz, 4 * span),
        Parameter("peak_mw", float(net[top]), 0.0),
        Parameter("floor_mw", dark.n, prior=dark),
        Parameter("tilt", 0.0, -0.9, 0.9, prior=new_cause("slope of the transducer (weak prior)", WEAK_TILT)),
        Parameter("drive_ratio", prior.n, 0.0, _MOST_DRIVE, prior=prior),
    ]
    return (*made, *lag)


def _lag(table: ScanTable, seconds: UFloat | float | None) -> tuple[Parameter, ...]:
    """Return the mean delay (MHz) each way: measured by both ways, stated, or assumed."""
    stated = stated_lag(table, seconds)
    if stated is None and not table.one_way:
        return (Parameter("lag_mhz", 0.0),)
    known = assumed_lag(table) if stated is None else stated
    if known is None or not isinstance(known, UFloat):
        return (Parameter("lag_mhz", 0.0, prior=new_cause("lag of the power meter", 0.0, nominal_value(known or 0.0))),)
    return (Parameter("lag_mhz", known.n * table.pace_mhz, prior=known * table.pace_mhz),)


def _described(table: ScanTable, problem: Problem, fit: Fit, exact_drive: float | None) -> CarrierResponse:
    low, high = float(table.frequency_mhz.min()), float(table.frequency_mhz.max())
    grid = np.linspace(low - 0.3 * (high - low), high + 0.3 * (high - low), _GRID)

    def read_off(values: FloatArray) -> FloatArray:
        return _read_off(grid, values if exact_drive is None else np.insert(values, 5, exact_drive))

    found = read_off(fit.values)
    if not np.isfinite(found).all() or not low <= found[0] <= high:
        raise ReadingsError(
            "the response does not fall to half of its light on both sides", where=table.places[0],
            found=Said(f"carriers from {low:.6g} to {high:.6g} MHz"), allowed="half heights within, the peak between",
            cure="step the carrier further out, the cell not turned",
        )  # fmt: skip
    steps = np.maximum(1e-4 * np.abs(fit.values), 1e-5)
    gradient = differences(read_off, fit.values, steps, problem.low, problem.high)
    if not np.isfinite(gradient).all():
        raise FitError(
            "carrier and bandwidth cannot be told from the response", found=Said("a slope that is no number"),
            allowed="a response with one peak", cure="step the carrier through one peak",
        )  # fmt: skip
    parts = [p - p.n for p in fit.parameters.values()]
    carrier, width, peak, _ = (
        float(n) + sum((float(g) * p for g, p in zip(row[1:], parts[1:], strict=True)), float(row[0]) * parts[0])
        for n, row in zip(found, gradient, strict=True)
    )
    errors, scale = table.readings.common_errors("frequency_mhz"), _relative(table.readings, "optical_power_mw")
    drive = exact_drive if exact_drive is not None else fit.parameters["drive_ratio"]
    fit = fit.with_checks(_reach(table, float(found[3]), float(found[3] + found[1])))
    return CarrierResponse(
        true_value(errors, carrier), true_value(_relative(table.readings, "frequency_mhz"), width),
        true_value(scale, peak), drive, fit, table, problem,
    )  # fmt: skip


def _relative(readings: Readings, column: str) -> tuple[Any, ...]:
    return tuple(e for e in readings.common_errors(column) if e.kind == "relative")


def _reach(table: ScanTable, low: float, high: float) -> Check:
    """Return the check that both half heights lie within the carriers that were measured."""
    f = table.frequency_mhz
    detail = f"half of the light is left at {low:.4g} and {high:.4g} MHz; carriers from {f.min():.4g} to {f.max():.4g}"
    passed = bool(f.min() <= low and high <= f.max())
    cure = "the bandwidth rests on the law beyond them: step the carrier further out"
    return Check("range", passed, f"{detail} MHz" if passed else f"{detail} MHz; {cure}")
