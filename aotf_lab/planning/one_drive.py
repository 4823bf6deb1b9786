"""One drive for all lines: the amplifier supply that serves the weakest of them best, never above the safe one.

The amplifier's power is not the same at every line's frequency, and the saturation power goes with the square of the
wavelength or so: at one supply some lines are driven beyond their maximum while others are below it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat

from aotf_lab.crystal.efficiency.curve import SLOPE_ONLY
from aotf_lab.driver.level import Level, SafeSupply
from aotf_lab.errors import AotfLabError, OutOfRangeError, Said, UnsafeDriveError
from aotf_lab.estimation import Check
from aotf_lab.estimation.problem import FloatArray
from aotf_lab.given import given_number, given_numbers, given_table
from aotf_lab.planning.curves import Curves, HasCurves, curves_of, wanted_lines
from aotf_lab.planning.one_drive_lines import DrivenLine, drawn_efficiencies, driven_lines, efficiencies, peak_supply
from aotf_lab.planning.one_drive_result import Aim, LineAtDrive, OneDrive

__all__ = ["OneDrive", "one_drive", "require_amplifier"]

_FLAT = 0.99
"""A supply is as good as the best one when it keeps this share of what was aimed at."""

MOST_STEP_V = 0.5
"""Coarsest step of a supply that is believed: with a coarser one there is nothing to choose."""

_DRAWS = 200
_MOST_PLACES = 240


def one_drive(
    source: Curves | HasCurves,
    lines: Mapping[str, UFloat | float | None] | Iterable[float | str] | None = None,
    *,
    weights: Mapping[str, float] | None = None,
    aim: Aim = "efficiency",
    step_v: float = 0.01,
) -> OneDrive:
    """Return the amplifier supply (V) at which the least efficiency over all lines is largest, on average over doubt.

    ``lines`` as for ``set_points``: each is driven at its own peak. With ``weights`` (line -> 0 or more) the weighted
    mean over lines is made largest instead of the least; with ``aim`` "share" each efficiency counts over the line's
    own maximum. Only supplies in whole steps of ``step_v``, not above the safe one, and at which every line stays
    within the drive that efficiency was measured at come into question.

    Raises ``UnsafeDriveError`` without a safe supply, ``AotfLabError`` without the amplifier's curve, the efficiency or
    the frequency of a line, or for weights or steps without a meaning, ``OutOfRangeError`` where no supply is left.
    """
    curves, own = curves_of(source)
    level, safe = require_amplifier(curves, "one drive for all lines")
    driven = driven_lines(curves, level, wanted_lines(lines, own, curves))
    _require_aim(driven, aim)
    shares = _weights(weights, driven)
    supply = _settable(level, safe, step_v)
    light, of_own, power = efficiencies(driven, level, supply)
    known = np.all(power <= np.array([e.curve.range_w[1] for e in driven])[:, None], axis=0)
    if not known.any():
        _refuse_beyond(driven, power, supply)
    aimed = np.where(known, _aimed(light if aim == "efficiency" else of_own, shares), -np.inf)
    best, u_supply, lost = _best(driven, level, supply, known, aim, shares)
    within = _within(aimed, best)
    entries = tuple(_entry(e, level, safe, float(supply[best])) for e in driven)
    edges = (float(supply[within[0]]), float(supply[within[1]]))
    checks = (_reach_check(known, best, supply), _flat_check(u_supply, edges, lost))
    return OneDrive(
        float(supply[best]), u_supply, edges, lost, aim, None if weights is None else dict(weights),
        float(aimed[best]), entries, safe, checks, driven, level,
    )  # fmt: skip


def require_amplifier(curves: Curves, what: str) -> tuple[Level, SafeSupply]:
    """Return the amplifier's curve and its safe supply; raises as ``one_drive`` where one is missing."""
    if curves.level is None:
        raise AotfLabError(
            f"{what} needs the amplifier's RF power against supply and frequency",
            found=Said(curves.why_missing("level") or "it was not measured"),
            allowed='files with purpose = "level"',
            cure="measure the level over the band at one supply, and against the supply at one frequency",
        )
    if curves.safe is None:
        why = curves.why_missing("safe_supply")
        raise UnsafeDriveError(
            f"{what} stays below the highest safe supply, and there is none",
            found=Said(why or "no rated RF power" if curves.rated_rf_power_w is None else why or "no safe supply"),
            allowed="a safe supply from the crystal's rated RF power",
            cure="state [crystal] rated_rf_power_w from the crystal's own papers, and the scope's pad and probe",
        )
    return curves.level, curves.safe


def _require_aim(driven: tuple[DrivenLine, ...], aim: Aim) -> None:
    if aim not in ("efficiency", "share"):
        raise AotfLabError(
            "no such aim", found=aim, allowed="efficiency, share", cure="name what is to be made largest"
        )
    if not driven:
        raise AotfLabError("no line to drive", found=0, allowed="one line or more", cure="scan a line, or name one")
    slope = [e.name for e in driven if e.curve.level == SLOPE_ONLY]
    if aim == "share" and slope:
        raise AotfLabError(
            "the share of a line's maximum is not known", where=", ".join(slope),
            found=Said("the initial slope only"), allowed="a drive that shows the curve bend",
            cure='drive harder within the crystal\'s rating, or take aim = "efficiency"',
        )  # fmt: skip


def _weights(weights: Mapping[str, float] | None, driven: tuple[DrivenLine, ...]) -> FloatArray | None:
    if weights is None:
        return None
    names = [e.name for e in driven]
    given_table(weights, "weights", "lines and their weights", 'write {"D": 2.0, "E": 1.0}')
    given_numbers(weights.values(), "weights")
    values = np.array([float(weights.get(name, 0.0)) for name in names])
    wrong = [n for n in weights if n not in names]
    if wrong or not np.all(np.isfinite(values) & (values >= 0)) or not values.sum() > 0:
        raise AotfLabError(
            "weights without a meaning", found=Said(str(dict(weights))),
            allowed=f"0 or more for each of {', '.join(names)}, not all 0", cure="correct the weights",
        )  # fmt: skip
    return np.asarray(values / values.sum())


def _settable(level: Level, safe: SafeSupply, step_v: float) -> FloatArray:
    """Return the supplies (n,) in whole steps from the lowest measured one to the safe one."""
    low, high = level.range_v[0], min(level.range_v[1], safe.supply_v)
    step_v = given_number(step_v, "step_v", "V")
    if not 0 < step_v <= MOST_STEP_V:
        raise AotfLabError("a step without a meaning", found=step_v, allowed=f"above 0 to {MOST_STEP_V:g} V",
                           cure="state the step of the supply's setting in V")  # fmt: skip
    first, last = int(np.ceil(low / step_v - 1e-9)), int(np.floor(high / step_v + 1e-9))
    if last < first:
        raise AotfLabError(
            "no settable supply", found=Said(f"steps of {step_v:g} V"),
            allowed=f"one between {low:.2f} and {high:.2f} V", cure="take a smaller step",
        )  # fmt: skip
    return np.asarray(np.minimum(step_v * np.arange(first, last + 1), safe.supply_v))


def _refuse_beyond(driven: tuple[DrivenLine, ...], power: FloatArray, supply: FloatArray) -> None:
    over = [(float(w[0]), e) for w, e in zip(power, driven, strict=True) if w[0] > e.curve.range_w[1]]
    worst, line = max(
        over, key=lambda item: item[0] / item[1].curve.range_w[1], default=(float(power[0, 0]), driven[0])
    )
    raise OutOfRangeError(
        f"RF power on line {line.name} at {supply[0]:.2f} V, the lowest supply,", worst, *line.curve.range_w, "W"
    )


def _aimed(values: FloatArray, weights: FloatArray | None) -> FloatArray:
    """Return what is to be made largest, over the last axis but one of ``values`` (..., lines, n)."""
    return np.asarray(values.min(axis=-2) if weights is None else np.tensordot(values, weights, ((-2,), (0,))))


def _within(aimed: FloatArray, best: int) -> tuple[int, int]:
    """Return the first and last place about the best that is as good as it is."""
    poor = np.flatnonzero(aimed < _FLAT * aimed[best])
    before, after = poor[poor < best], poor[poor > best]
    return (int(before[-1]) + 1 if len(before) else 0, int(after[0]) - 1 if len(after) else len(aimed) - 1)


def _best(
    driven: tuple[DrivenLine, ...],
    level: Level,
    supply_v: FloatArray,
    known: NDArray[np.bool_],
    aim: Aim,
    weights: FloatArray | None,
) -> tuple[int, float, float]:
    """Return the place of the best supply, its u (V), and the share (percent, 95 %) that the choice may lose.

    What is aimed at is averaged over draws of every cause: the least of several uncertain efficiencies is less than
    the least of their means, by more where several are as low.
    """
    places = np.flatnonzero(known)
    coarse = np.unique(places[np.linspace(0, len(places) - 1, min(len(places), _MOST_PLACES)).astype(int)])
    light, tops = drawn_efficiencies(driven, level, supply_v[coarse], _DRAWS)
    aimed = _aimed(light if aim == "efficiency" else light / tops[:, :, None], weights)
    mean = np.interp(supply_v[places], supply_v[coarse], aimed.mean(axis=0))
    best = int(places[np.argmax(mean)])
    there = np.array([np.interp(supply_v[best], supply_v[coarse], row) for row in aimed])
    u = float(np.sqrt(np.mean((supply_v[coarse][np.argmax(aimed, axis=1)] - supply_v[best]) ** 2)))
    return best, u, float(100 * np.quantile(np.maximum(1.0 - there / aimed.max(axis=1), 0.0), 0.95))


def _entry(line: DrivenLine, level: Level, safe: SafeSupply, supply_v: float) -> LineAtDrive:
    power = level.rf_power(supply_v, line.at_mhz)
    efficiency = line.curve.efficiency(power)
    share = None if line.curve.level == SLOPE_ONLY else efficiency * line.curve.curvature
    top = np.array([min(safe.supply_v, level.range_v[1])])
    at_safe, _, safe_w = efficiencies((line,), level, top)
    origin = "own readings" if line.own else "by the other lines"
    if line.own and line.curve.level != SLOPE_ONLY:
        origin = "own readings, saturation by all lines"
    if line.curve.level != "full":
        origin += f", {line.curve.level}"
    return LineAtDrive(
        line.name, line.wavelength_nm, line.frequency_mhz, power, efficiency, share, peak_supply(line, level),
        float(at_safe[0, 0]), bool(safe_w[0, 0] > line.curve.range_w[1]), origin,
    )  # fmt: skip


def _reach_check(known: NDArray[np.bool_], best: int, supply: FloatArray) -> Check:
    name = "within the drive measured"
    last = int(np.flatnonzero(known)[-1])
    if best < last or last == len(supply) - 1:
        return Check(name, True, f"the best supply is not held by the reach of the readings ({supply[last]:.2f} V)")
    detail = f"{supply[best]:.2f} V is the highest supply at which efficiency was measured, and may not be the best"
    return Check(name, False, f"{detail}; measure efficiency at more RF power, within the crystal's rating")


def _flat_check(u_supply: float, within_v: tuple[float, float], lost: float) -> Check:
    detail = f"u of the best supply {u_supply:.2f} V, {within_v[0]:.2f} to {within_v[1]:.2f} V within 1 %; "
    detail += f"up to {lost:.2g} % of what was aimed at is lost by it (95 %), limit 5 %"
    passed = lost <= 5.0
    return Check(
        "choice", passed, detail if passed else f"{detail}; measure efficiency on more lines, or the level better"
    )
