"""What more than one passband on a level floor do the readings ask for: a slope, ranges of the meter, a second peak?

Each is tried only where the fit without it leaves room for it, and kept only where it is beyond chance, so that a good
scan keeps its fit and the uncertainty of its centre.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from aotf_lab.crystal.scan.fit import ScanSolution, solve_again
from aotf_lab.crystal.scan.places import NEAREST, second_places, two_peak_starts
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.ranges import found_ranges
from aotf_lab.errors import AotfLabError
from aotf_lab.estimation.checks import chi2_limit, t_limit, z_limit
from aotf_lab.estimation.problem import FloatArray

__all__ = ["BRANCH_LIMIT", "Further", "further"]

BRANCH_LIMIT = 40.0
"""Rise of twice the log likelihood from which a second passband is believed; LEAST_SHARE its least share of the light.
Calibrated on leaning and wandering scans with one peak (tests/benchmarks/scan.py)."""

LEAST_SHARE = 0.02

MUCH_WANDER, MUCH_LEAN = 0.03, 0.2


@dataclass(frozen=True)
class Further:
    """The fit that is believed, and what led to it.

    ``slope`` and ``u_slope`` (mW/MHz) are what a level floor leaves to a slope, ``moved_mhz`` by how much the slope
    moved the centre (None where it was not needed). ``gained`` is the rise of twice the log likelihood that a second
    passband brings (None where it was not tried). ``ranges_found`` says that ranges of the meter were seen in digits.
    """

    solution: ScanSolution
    point: ScanPoint
    slope: float
    u_slope: float
    moved_mhz: float | None = None
    gained: float | None = None
    ranges_found: bool = False


def further(solution: ScanSolution) -> Further:
    """Return the fit of the rows of ``solution`` with all that they ask for."""
    solution, ranges_found = _with_ranges(solution)
    point = ScanPoint.of(solution)
    result = _with_slope(Further(solution, point, 0.0, np.inf, ranges_found=ranges_found))
    two = _with_second(result)
    return result if two is None else two


def _limit(solution: ScanSolution, tests: int = 1) -> float:
    return z_limit(tests) if solution.fit.u_known else t_limit(solution.fit.dof, tests)


def _term(point: ScanPoint, column_mw: FloatArray) -> tuple[float, float]:
    """Return the size of a term and its u: scaled by the scatter that is left once the term is in."""
    size, u = point.term(column_mw)
    fit = point.solution.fit
    u /= fit.birge
    if not np.isfinite(u) or fit.dof <= 1:
        return size, np.inf
    rest = max(fit.chi2 - (size / u) ** 2, 0.0) / (fit.dof - 1)
    return size, u * (max(rest, 1.0) ** 0.5 if fit.u_known else rest**0.5)


def _strained(solution: ScanSolution) -> bool:
    """Return whether a fit leaves or bends so much that a term may hide: scatter, wander or lean beyond the usual."""
    wanders = solution.noise.wander > MUCH_WANDER and solution.noise.gain > chi2_limit(2)
    return bool(solution.fit.birge > 1.0 or wanders or abs(solution.fit.values[4]) > MUCH_LEAN)


def _with_slope(before: Further) -> Further:
    solution = before.solution
    centre = float(solution.fit.values[0])
    column = solution.model.trailing(solution.table.frequency_mhz - centre, solution.fit.values)
    slope, u = _term(before.point, column)
    level = replace(before, slope=slope, u_slope=u)
    seen = abs(slope) > _limit(solution) * u
    if not (seen or _strained(solution)):
        return level
    guess = solution.told.guess
    starts = {"slope_mw_per_mhz": slope} if seen else {}
    if _strained(solution):
        starts |= {"centre_mhz": guess.centre_mhz, "fwhm_mhz": guess.fwhm_mhz, "skew": 0.0, "floor_mw": guess.floor_mw}
    sloped = _tried(solution, {"sloped": True}, starts)
    if sloped is None or _badness(solution) - _badness(sloped) < _limit(solution) ** 2:
        return level
    if not seen:
        found = sloped.fit.parameters["slope_mw_per_mhz"]
        if not abs(found.n) > _limit(sloped) * found.s:
            return level
        level = replace(level, slope=float(found.n), u_slope=float(found.s))
    moved = float(sloped.fit.values[0]) - centre
    return replace(level, solution=sloped, point=ScanPoint.of(sloped), moved_mhz=moved)


def _with_ranges(solution: ScanSolution) -> tuple[ScanSolution, bool]:
    """Return the fit with ranges of the meter that its digits show, where they differ at the same light."""
    ranges = None if solution.table.ranges is not None or solution.table.log else found_ranges(solution.table)
    if ranges is None:
        return solution, False
    found = _tried(solution, {"ranges": ranges}, {})
    if found is None or _badness(solution) - _badness(found) < chi2_limit(2 * int(ranges.max())):
        return solution, False
    return found, True


def _with_second(before: Further) -> Further | None:
    """Return the fit with two passbands, or None where one is enough."""
    strained = _strained(before.solution)
    places = second_places(before.point)
    if places or strained:
        places += two_peak_starts(before.solution.table, before.solution.told.guess, before.solution.model)
    best = _tried(before.solution, {"second": True}, *places) if places else None
    if best is None:
        return None
    if before.moved_mhz is not None:  # the slope may have stood for the second passband
        best = _flattened(best)
    gained = _badness(before.solution) - _badness(best)
    values = dict(zip(best.model.names, best.fit.values.tolist(), strict=True))
    share = values["second_ratio"] / (1.0 + values["second_ratio"])
    apart = abs(values["separation_mhz"]) / values["fwhm_mhz"]
    f, second = best.table.frequency_mhz, values["centre_mhz"] + values["separation_mhz"]
    inside = bool(f.min() <= second <= f.max() and apart >= NEAREST)
    if not (gained > BRANCH_LIMIT and share > LEAST_SHARE and inside):
        return None
    moved = before.moved_mhz if best.model.sloped else None
    return replace(before, solution=best, point=ScanPoint.of(best), gained=gained, moved_mhz=moved)


def _flattened(two: ScanSolution) -> ScanSolution:
    """Return ``two`` with a level floor where the second passband explains what the slope stood for."""
    level = _tried(two, {"sloped": False}, {})
    if level is None:
        return two
    centre = float(level.fit.values[0])
    slope, u = _term(ScanPoint.of(level), level.model.trailing(level.table.frequency_mhz - centre, level.fit.values))
    return two if abs(slope) > _limit(level) * u else level


def _badness(solution: ScanSolution) -> float:
    """Return -2 log likelihood of a fit, up to what all fits of these rows share."""
    return float(solution.fit.chi2 - 2.0 * np.linalg.slogdet(solution.noise.root)[1])


def _tried(solution: ScanSolution, changes: Mapping[str, object], *starts: Mapping[str, float]) -> ScanSolution | None:
    """Return the fit of the changed model from the best of ``starts``, or None where there is none."""
    model = solution.model
    kept = {"sloped": model.sloped, "second": model.second, "ranges": model.ranges} | dict(changes)
    changed = replace(model, **kept)  # type: ignore[arg-type]
    try:
        return solve_again(solution, changed, starts)
    except (AotfLabError, np.linalg.LinAlgError):
        return None
