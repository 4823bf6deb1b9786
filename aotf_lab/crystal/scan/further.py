"""What more than one passband on a level floor do the readings ask for: a slope, ranges of the meter, a second peak?

Each is tried only where the fit without it leaves room for it, and kept only where it is beyond chance, so that a good
scan keeps its fit and the uncertainty of its centre.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from uncertainties import UFloat

from aotf_lab.crystal.scan.attempts import asked_for, limit, strained, tried
from aotf_lab.crystal.scan.fit import ScanSolution
from aotf_lab.crystal.scan.point import ScanPoint
from aotf_lab.crystal.scan.ranges import found_ranges, nearer_ranges
from aotf_lab.crystal.scan.second import Second, second_passband
from aotf_lab.estimation.checks import chi2_limit

__all__ = ["Further", "further"]

_RANGE_PASSES = 3
"""How often the ranges of single readings are judged anew by the fit."""


@dataclass(frozen=True)
class Further:
    """The fit that is believed, and what led to it.

    ``slope`` and ``u_slope`` (mW/MHz) are what a level floor leaves to a slope, ``moved_mhz`` by how much the slope
    moved the centre (None where it was not needed). ``second`` is the fit with two passbands, believed or not,
    where one was looked for. ``ranges_found`` says that ranges of the meter were seen in digits.
    """

    solution: ScanSolution
    point: ScanPoint
    slope: float
    u_slope: float
    moved_mhz: float | None = None
    second: Second | None = None
    ranges_found: bool = False

    @property
    def two_peaks(self) -> Second | None:
        """The fit with two passbands whose peaks lie both within the scan, where it is believed."""
        return self.second if self.second is not None and self.second.believed and self.second.inside else None

    @property
    def parameters(self) -> Mapping[str, UFloat]:
        """The parameters of the believed fit; of two passbands with the uncertainty of the whole valley."""
        if self.second is not None and self.second.believed:
            return self.second.parameters
        return self.solution.fit.parameters


def further(solution: ScanSolution) -> Further:
    """Return the fit of the rows of ``solution`` with all that they ask for.

    Raises the ``FitError`` of ``solution`` where no fit came to an end.
    """
    level, ranges_found = _with_ranges(solution)
    point = ScanPoint.of(level)
    result = _with_slope(Further(level, point, 0.0, np.inf, ranges_found=ranges_found))
    second = second_passband(result.solution, level, point)
    if second is not None:
        result = replace(result, second=second)
        if second.believed:
            best = second.solution
            moved = result.moved_mhz if best.model.sloped else None
            result = replace(result, solution=best, point=ScanPoint.of(best), moved_mhz=moved)
    if result.solution.failure is not None:
        raise result.solution.failure
    return result


def _with_slope(before: Further) -> Further:
    solution = before.solution
    centre = float(solution.fit.values[0])
    column = solution.model.trailing(solution.table.frequency_mhz - centre, solution.fit.values)
    slope, u = asked_for(before.point, column)
    level = replace(before, slope=slope, u_slope=u)
    seen = abs(slope) > limit(solution) * u
    if not (seen or strained(solution)):
        return level
    guess = solution.told.guess
    starts = {"slope_mw_per_mhz": slope} if seen else {}
    if strained(solution):
        starts |= {"centre_mhz": guess.centre_mhz, "fwhm_mhz": guess.fwhm_mhz, "skew": 0.0, "floor_mw": guess.floor_mw}
    sloped = tried(solution, {"sloped": True}, starts)
    if sloped is None or solution.badness - sloped.badness < limit(solution) ** 2:
        return level
    if not seen:
        found = sloped.fit.parameters["slope_mw_per_mhz"]
        if not abs(found.n) > limit(sloped) * found.s:
            return level
        level = replace(level, slope=float(found.n), u_slope=float(found.s))
    moved = float(sloped.fit.values[0]) - centre
    return replace(level, solution=sloped, point=ScanPoint.of(sloped), moved_mhz=moved)


def _with_ranges(solution: ScanSolution) -> tuple[ScanSolution, bool]:
    """Return the fit with ranges of the meter that its digits show, where they differ at the same light."""
    ranges = None if solution.table.ranges is not None or solution.table.log else found_ranges(solution.table)
    if ranges is None:
        return solution, False
    found = tried(solution, {"ranges": ranges}, {})
    if found is None or solution.badness - found.badness < chi2_limit(2 * int(ranges.max())):
        return solution, False
    for _ in range(_RANGE_PASSES):
        nearer = nearer_ranges(found)
        again = None if nearer is None else tried(found, {"ranges": nearer}, {})
        if again is None or again.badness > found.badness:
            break
        found = again
    return found, True
